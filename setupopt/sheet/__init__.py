"""Paper for mechanics: what to turn from one setup to another, in what order, and what was read back."""
