"""Tests of tables, words and pictures."""
