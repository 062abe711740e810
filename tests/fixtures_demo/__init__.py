"""Tests of fixtures_demo."""
