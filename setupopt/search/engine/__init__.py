"""The max-min engine: knows arrays and functions only."""
