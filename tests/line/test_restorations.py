"""Restorations: a book says what it lost, or which copy of it is gone, and nothing that did not happen."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction
from ledger.line.checklists import ChecklistAdopted
from ledger.line.restorations import BookRestored, HeadSeen
from tests.line.making import at
from tests.line.plant import Plant

AHEAD = HeadSeen(size=900, root="a" * 64)


def _restored(**fields: Any) -> BookRestored:
    return BookRestored(**{"at": at(1), "size": 1, "reason": "fire", **fields})


def _begun() -> Plant:
    """A plant whose book has an entry."""
    plant = Plant()
    plant.submit(ChecklistAdopted(at=at(1), checklist="own", digest="c" * 64))
    return plant


def test_a_book_says_what_it_lost() -> None:
    """Heads that lie ahead of the backup are named, or the copy that is gone."""
    plant = _begun()
    plant.submit(_restored(seen=(AHEAD,)))
    plant.submit(_restored(copy="0123456789abcdef"))
    plant.submit(_restored(seen=(AHEAD,), copy="0123456789abcdef"))


@pytest.mark.parametrize(
    "fields", [{}, {"seen": (HeadSeen(size=1, root="a" * 64),)}, {"size": 99, "copy": "0123456789abcdef"}]
)
def test_what_was_not_lost_is_not_said(fields: dict[str, Any]) -> None:
    """An entry that names nothing, a head that the book still holds, or a size that it never had is refused."""
    with pytest.raises(Contradiction):
        _begun().submit(_restored(**fields))
