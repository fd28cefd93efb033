"""Which speeds are safe, the run-up, and coasting."""
