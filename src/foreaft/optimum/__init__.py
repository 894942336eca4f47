"""Reference optimum: what a balance that is perfect at every metre would gain. Needs CasADi."""
