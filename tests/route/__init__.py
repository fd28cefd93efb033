"""Tests of the route."""
