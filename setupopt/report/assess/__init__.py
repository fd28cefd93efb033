"""What `assess` prints and draws."""
