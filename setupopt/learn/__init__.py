"""A run's log beside the model: what it shows of the car, and what may be driven next."""
