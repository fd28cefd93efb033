"""What `speeds` prints and draws."""
