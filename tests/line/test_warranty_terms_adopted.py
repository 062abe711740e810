"""Warranty terms that the plant works by."""

from __future__ import annotations

from ledger.errors import Contradiction
from ledger.line.claim_rows import WarrantyTermsRow
from ledger.line.corrections import Change, Correction
from ledger.line.warranty_terms import WarrantyTermsAdopted
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


def adopted(terms: str, digest: str) -> WarrantyTermsAdopted:
    """Terms by the digest of their file."""
    return WarrantyTermsAdopted(at=at(2), terms=terms, digest=digest * 64)


def standing(plant: Plant) -> list[tuple[str, bool]]:
    """First digit of each file, and whether it is superseded."""
    rows = [row for row in plant.tables.rows[WarrantyTermsRow].values() if isinstance(row, WarrantyTermsRow)]
    return sorted((row.digest[0], row.superseded) for row in rows)


def test_later_terms_of_a_name_supersede_the_earlier() -> None:
    """And the earlier are in force again when the later are withdrawn."""
    plant = Plant()
    plant.submit(adopted("warranty", "a"), adopted("other", "c"))
    later = plant.submit(adopted("warranty", "b"))
    assert [("a", True), ("b", False), ("c", False)] == standing(plant)
    check_views(plant)
    plant.submit(Correction(at=at(3), reason="typed-wrong", changes=(Change(fact=later.address),)))
    assert [("a", False), ("c", False)] == standing(plant)
    check_views(plant)


def test_one_file_of_terms_has_one_name() -> None:
    """The same file under another name is refused, with the name that it has."""
    plant = Plant()
    plant.submit(adopted("warranty", "a"))
    refusal = plant.refused(adopted("other", "a"))
    assert (Contradiction, "terms", "warranty") == (type(refusal), refusal.where, refusal.expected)
