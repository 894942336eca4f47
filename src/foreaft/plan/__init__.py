"""From what a setting costs in a zone to the plan of a lap."""
