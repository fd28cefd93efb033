"""Tests of `setupopt.learn`."""
