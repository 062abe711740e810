"""Tests of the store's parts, on SQLite."""
