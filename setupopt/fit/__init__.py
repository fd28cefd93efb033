"""From measurements to the numbers of the model: robust fits, and what they cannot tell."""
