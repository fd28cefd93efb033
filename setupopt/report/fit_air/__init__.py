"""What `fit air` prints and draws."""
