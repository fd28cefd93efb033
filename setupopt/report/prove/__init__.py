"""What `prove` prints and draws."""
