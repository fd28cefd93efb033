"""What must hold whatever is read, wherever it is written, on whatever machine it runs."""
