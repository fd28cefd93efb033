"""Tests of the paper for mechanics."""
