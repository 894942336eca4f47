"""The physics: floats and arrays only, SI and radians, one phenomenon per file."""
