"""A letter as it is said, before it is set: who writes to whom, what, and a table of balls where there is one.

Pure. `ledger.evidence.letter` sets it as PDF.
"""

from __future__ import annotations

import datetime as dt

import msgspec


class Letter(msgspec.Struct, frozen=True, kw_only=True):
    """A letter. ``sender``, ``to`` and ``closing`` are lines; ``rows`` have as many cells as there are ``columns``.

    ``on`` is the day that stands on it; nothing else of it knows a day.
    """

    sender: tuple[str, ...]
    to: tuple[str, ...]
    on: dt.date
    reference: str
    subject: str
    paragraphs: tuple[str, ...]
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    closing: tuple[str, ...] = ()
