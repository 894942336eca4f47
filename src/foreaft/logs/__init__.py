"""Logs: what was recorded, brought into channels of known name and unit; no physics here."""
