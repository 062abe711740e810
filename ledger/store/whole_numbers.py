"""The type of a whole number in a table. Apart from the tables of the truth, whose library takes long to load."""

from __future__ import annotations

from sqlalchemy import BigInteger, Integer

BIG = BigInteger().with_variant(Integer(), "sqlite")
"""A whole number; on SQLite ``INTEGER``, so that a primary key is the row's own number."""
