"""One ball: looked up by its number, and everything about it on one page."""
