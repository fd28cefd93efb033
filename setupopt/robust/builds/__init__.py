"""Build error: what the car as it may be built loses."""
