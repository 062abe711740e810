"""One file a command of the command line, each with `add_arguments` and `run`."""
