"""The service of a directory of plants: an application of its own, which knows no book."""
