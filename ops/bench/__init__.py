"""Measurements of the book beside their floors: ``bash ops/bench/run``, or ``python -m ops.bench``.

Every figure stands beside a floor taken in the same run on the same machine, round by round in turn, so that the ratios
carry over to another machine where the figures do not.  Nothing here is a test: the numbers are read by people.
"""
