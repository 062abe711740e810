"""The witness over HTTP: an application of its own, which knows no book."""
