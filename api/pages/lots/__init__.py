"""Lots and traces: the list, one lot, the web of lots around it as a picture that one can walk."""
