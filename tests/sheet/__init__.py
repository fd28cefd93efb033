"""Tests of roads, rides over them and the statistics of both."""
