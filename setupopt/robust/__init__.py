"""What the road, the wind and the workshop do to a setup that holds in a steady case."""
