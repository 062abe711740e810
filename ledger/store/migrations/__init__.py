"""The schema's history, forward only. Run by `Store.migrate`; there is no file of settings outside the package."""

LATEST = "0004"
"""The revision that this program works with."""
