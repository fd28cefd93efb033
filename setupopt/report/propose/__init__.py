"""What `propose` prints and draws."""
