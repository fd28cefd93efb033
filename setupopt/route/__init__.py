"""The way from the floor of a section to where the car must be, and back: paths, limits, the best one."""
