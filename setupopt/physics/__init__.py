"""The model: scalar kernels on SI floats, and one parallel driver over setups and cases."""
