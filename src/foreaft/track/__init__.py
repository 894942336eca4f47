"""From a circuit as read to the stations a car drives over, and the braking zones of its lap."""
