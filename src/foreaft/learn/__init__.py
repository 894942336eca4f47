"""What laps can teach: tests of settings, designed and judged."""
