"""Tests of conformity."""
