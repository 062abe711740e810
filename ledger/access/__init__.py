"""Accounts, roles and tokens: who may do what."""
