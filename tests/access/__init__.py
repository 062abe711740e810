"""Tests of access."""
