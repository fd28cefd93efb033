"""Tests of the project folder: reading, checking, writing."""
