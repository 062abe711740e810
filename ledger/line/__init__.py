"""The facts of the factory line, as record kinds; pure."""
