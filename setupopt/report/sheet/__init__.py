"""What `sheet` prints."""
