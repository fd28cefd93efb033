"""What `learn` prints and draws."""
