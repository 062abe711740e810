"""Rulebooks as data, and verdicts on a ball. Pure: dates, readings and rulebooks are arguments."""
