"""What `readback` prints."""
