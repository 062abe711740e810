"""Tests of warranty."""
