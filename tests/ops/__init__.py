"""Tests of ops."""
