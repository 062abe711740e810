"""Running it: the command line, key files, demo, checks and measurements."""
