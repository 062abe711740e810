"""The view rows of imports: balls made before this book, and the stretches of files whose lines were entered."""

from __future__ import annotations

from ledger.line.rows import Row

IMPORTED = "imported"
"""The state of a ball that was made before this book and that nothing was said of since; and the stage of its lot."""

MADE_BEFORE = "imported, made before this book: no ancestors on record"
"""What tracing says of such a ball and its lot."""


class ImportedUnit(Row, frozen=True, kw_only=True):
    """Where a ball that was made before this book comes from: ``file`` by the SHA-256 of its bytes, ``line`` from 1.

    ``colours``: a comma list, as far as the file says them.
    """

    unit: str
    file: str
    line: int
    colours: str
    address: str


class ImportedStretch(Row, frozen=True, kw_only=True):
    """Lines ``first`` to ``last`` of a file, each of which was accepted or refused; ``what`` they were read as.

    ``first`` and ``last`` count the file's lines without its header, from 1.  ``stretch`` is ``file:what:first``.
    """

    stretch: str
    file: str
    what: str
    first: int
    last: int
    accepted: int
    refused: int
    address: str
