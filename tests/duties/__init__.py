"""Tests of duties."""
