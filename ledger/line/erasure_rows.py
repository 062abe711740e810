"""The view rows of erasures, and what an erasure looks up beside the book: which openings there are, whose name is kept.

A sealed field of the book is named by its entry and its path, as in ``12/0/note``: the text that opens with the entry's
index and goes on with the path under which the entry's openings name it.
"""

from __future__ import annotations

from ledger.line.rows import Row


class ErasedField(Row, frozen=True, kw_only=True):
    """A sealed field whose opening was erased: ``fact`` said it, ``address`` is the erasure."""

    field: str
    entry: int
    path: str
    fact: str
    address: str


class ErasedName(Row, frozen=True, kw_only=True):
    """An account whose name was erased, by the fact at ``address``."""

    account: str
    address: str


class ErasedBlob(Row, frozen=True, kw_only=True):
    """A file of a claim whose bytes were erased, by the fact at ``address``, and why it was."""

    digest: str
    address: str
    basis: str
    reason: str


class StoredBlob(Row, frozen=True, kw_only=True):
    """A blob whose bytes are stored: not a table of the views."""

    digest: str


class FieldOpening(Row, frozen=True, kw_only=True):
    """A sealed field that can be opened, and whether it is withheld or erasable: not a table of the views."""

    field: str
    sealing: str


class AccountName(Row, frozen=True, kw_only=True):
    """An account, and whether its name is known: not a table of the views."""

    account: str
    named: bool


def field_name(entry: int, path: str) -> str:
    """The name of a sealed field in the whole book."""
    return f"{entry}/{path}"
