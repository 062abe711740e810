"""Checks against published sources, each named beside its check."""
