"""Measurements of the book beside their floors."""
