"""Rough roads: spectra, measured profiles, linear answers and rides in time."""
