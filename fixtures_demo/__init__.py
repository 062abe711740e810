"""One invented plant, told to the book from a seed: see README.md in this folder."""
