"""Air loads from tables of tunnel or CFD runs."""
