"""Checklists that the plant works by."""

from __future__ import annotations

from ledger.errors import Contradiction
from ledger.line.checklists import ChecklistAdopted
from ledger.line.corrections import Change, Correction
from ledger.line.rows import ChecklistRow
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


def adopted(checklist: str, digest: str) -> ChecklistAdopted:
    """A checklist by the digest of its file."""
    return ChecklistAdopted(at=at(2), checklist=checklist, digest=digest * 64)


def standing(plant: Plant) -> list[tuple[str, bool]]:
    """First digit of each file, and whether it is superseded."""
    rows = sorted(plant.tables.rows[ChecklistRow].values(), key=lambda row: row.digest)  # type: ignore[attr-defined]  # its rows
    return [(row.digest[0], row.superseded) for row in rows]  # type: ignore[attr-defined]  # its rows


def test_a_later_file_of_a_name_supersedes_the_earlier() -> None:
    """And the earlier is in force again when it is adopted again, or the later is withdrawn."""
    plant = Plant()
    plant.submit(adopted("house", "a"), adopted("other", "c"))
    later = plant.submit(adopted("house", "b"))
    assert [("a", True), ("b", False), ("c", False)] == standing(plant)
    plant.submit(Correction(at=at(3), reason="typed-wrong", changes=(Change(fact=later.address),)))
    assert [("a", False), ("c", False)] == standing(plant)
    plant.submit(adopted("house", "b"))
    plant.submit(adopted("house", "a"))
    assert [("a", False), ("b", True), ("c", False)] == standing(plant)
    check_views(plant)


def test_one_file_has_one_name() -> None:
    """The same file under another name is refused, with the name that it has."""
    plant = Plant()
    plant.submit(adopted("house", "a"))
    refusal = plant.refused(adopted("other", "a"))
    assert (Contradiction, "checklist", "house") == (type(refusal), refusal.where, refusal.expected)
