"""Driving it: the transient car on a zone or a lap, what happened, and how it is recorded."""
