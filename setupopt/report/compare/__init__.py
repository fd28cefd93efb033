"""What `compare` prints and draws."""
