"""Pages in a real browser, over a real server: Chromium as it is found on the path."""
