"""From a recording to laps, zones, what each pass measured, and what went wrong where."""
