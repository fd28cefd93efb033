"""What `route` prints and draws."""
