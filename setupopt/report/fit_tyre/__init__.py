"""What `fit tyre` prints and draws."""
