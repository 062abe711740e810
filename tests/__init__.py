"""Tests, in the shape of the code that they test."""
