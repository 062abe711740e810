"""The view rows of examinations: what an outside auditor may look at, and until when.

What was looked at has no rows: each look is a fact about the node ``examination:ID``, in the order of the book.
"""

from __future__ import annotations

from ledger.line.rows import Row


class Examination(Row, frozen=True, kw_only=True):
    """A part of the book that one account may look at. Names are comma lists; instants in ms, both ends inclusive.

    ``withheld``: sealings that stay closed, a comma list.  ``ended_ms``: when it was ended before its time.
    """

    examination: str
    account: str
    models: str
    lots: str
    units: str
    made_from_ms: int | None
    made_to_ms: int | None
    from_ms: int
    to_ms: int
    withheld: str
    address: str
    ended_ms: int | None = None
