"""A page on this machine: move any setting and see margins, loads and the car at once."""
