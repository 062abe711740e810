"""Tests of line."""
