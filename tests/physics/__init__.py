"""Tests of the physics kernels, one module each."""
