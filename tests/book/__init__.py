"""Tests of ledger/book."""
