"""Tests of `ledger.application`."""
