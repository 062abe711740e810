"""The ball that takes the place of a claimed one, and what became of the old one."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.balls import UnitStarted
from ledger.line.claim_rows import Claim, Replacement
from ledger.line.corrections import Change, Correction
from ledger.line.holds import HoldPlaced
from ledger.line.record import Record
from ledger.line.releases import Scrap
from ledger.line.shipments import Returned
from tests.line.claiming import decided, examined, opened, replaced, sold_plant
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


def accepted(count: int = 3) -> tuple[Plant, list[str]]:
    """A plant whose claim C-1 on U-1, by its number, was accepted; the other balls are free."""
    plant, serials = sold_plant(count)
    plant.submit(opened(serial=serials[0]), examined(), decided())
    return plant, serials


def test_claim_and_replacement_are_found_from_each_other() -> None:
    """The row names the new ball, the old one as the claim does, the term, and what became of the old ball."""
    plant, [serial, *_] = accepted()
    entered = plant.submit(replaced("U-2", term="remaining", old_ball="destroyed"))
    assert [] == entered.codes
    assert "U-2" == plant.row(Claim, "C-1").replacement
    row = plant.row(Replacement, "C-1")
    assert ("U-2", None, serial, "remaining", "destroyed") == (
        row.unit, row.old_unit, row.old_serial, row.term, row.old_ball,
    )  # fmt: skip
    for column, value in (("unit", "U-2"), ("old_serial", serial), ("claim", "C-1")):
        assert [row] == plant.tables.where(Replacement, column, value)


def refusals() -> list[tuple[tuple[Record, ...], Record, type[Exception], str, str]]:
    """What was entered before, the replacement that is refused, its class, field, and a word of its answer."""
    other = (opened("C-2", unit="U-2", mode="void"), examined("C-2"), decided(claim="C-2"))
    return [
        ((opened("C-2", unit="U-2"),), replaced("U-3", "C-2"), RuleStands, "claim", "accepted"),
        ((), replaced("U-3", "C-9"), UnknownSubject, "claim", "C-9"),
        ((), replaced("U-9"), UnknownSubject, "unit", "U-9"),
        ((), replaced("U-1"), Contradiction, "unit", "claimed ball itself"),
        ((replaced("U-2"),), replaced("U-3"), Contradiction, "claim", "U-2"),
        ((*other, replaced("U-3", "C-2")), replaced("U-3"), Contradiction, "unit", "C-2"),
        ((Scrap(at=at(99), unit="U-3", how="scrap", reason="cut"),), replaced("U-3"), RuleStands, "unit", "scrapped"),
        ((Scrap(at=at(99), unit="U-3", how="retained", reason="kept"),), replaced("U-3"), RuleStands, "unit", "retained"),
        ((UnitStarted(at=at(9), unit="U-4", lot="SL-1", station="L-1"),), replaced("U-4"), RuleStands, "unit", "made"),
        ((HoldPlaced(at=at(99), hold="H-1", reason="suspect", node="lot:SL-1"),), replaced("U-3"), RuleStands, "unit", "H-1"),
        ((opened("C-2", unit="U-3"),), replaced("U-3"), RuleStands, "unit", "C-2"),
    ]  # fmt: skip


@pytest.mark.parametrize(("before", "record", "error", "where", "word"), refusals())
def test_a_ball_that_cannot_take_the_place_is_refused(
    before: tuple[Record, ...], record: Record, error: type[Exception], where: str, word: str
) -> None:
    """Before the decision, twice, the claimed ball itself, or one that ended, is held, not engraved, or claimed."""
    plant, _ = accepted()
    if before:
        plant.submit(*before)
    refusal = plant.refused(record)
    assert (error, where) == (type(refusal), refusal.where)
    assert word in str(refusal)


def test_a_ball_with_a_rejected_claim_may_take_the_place() -> None:
    """Nothing was found wrong with it."""
    plant, _ = accepted()
    plant.submit(opened("C-2", unit="U-2"), examined("C-2"), decided("reject", "no-fault-found", "C-2"))
    plant.submit(replaced("U-2"))
    assert "U-2" == plant.row(Claim, "C-1").replacement


@pytest.mark.parametrize(
    ("became", "old_ball", "flagged"),
    [
        ((), "kept", False),
        ((), "destroyed", False),
        ((), "returned", True),
        ((), "retained", True),
        (("returned",), "returned", False),
        (("returned",), "retained", False),
        (("returned",), "destroyed", True),
        (("returned",), "kept", True),
        (("returned", "scrap"), "destroyed", False),
        (("returned", "scrap"), "retained", True),
        (("returned", "retained"), "retained", False),
        (("returned", "retained"), "destroyed", True),
        (("destructive-test",), "destroyed", False),
    ],
)
def test_what_is_said_of_the_old_ball_is_compared_with_the_book(
    became: tuple[str, ...],
    old_ball: Any,
    flagged: bool,  # noqa: FBT001  # a parameter of the table
) -> None:
    """Where the two disagree the replacement stands, flagged, and nothing is held."""
    plant, _ = accepted()
    for step in became:
        how: Any = step
        gone = Scrap(at=at(102), unit="U-1", how=how, reason="claimed") if step != "returned" else None
        plant.submit(gone or Returned(at=at(101), unit="U-1", reason="claimed"))
    entered = plant.submit(replaced("U-2", old_ball=old_ball))
    assert (["claim-old-ball"] if flagged else []) == entered.codes
    assert not any(breach.holds for breach in entered.breaches)


def test_a_replacement_for_a_number_that_no_ball_bears_stands() -> None:
    """By goodwill; of the old ball the book knows nothing to compare."""
    plant, _ = sold_plant()
    plant.submit(opened(serial="NONE"), decided("goodwill", "goodwill"))
    assert [] == plant.submit(replaced("U-1", old_ball="returned")).codes


def test_a_corrected_replacement_lets_the_first_ball_go() -> None:
    """The ball that was named by mistake is free for another claim."""
    plant, _ = accepted()
    first = plant.submit(replaced("U-2"))
    change = Change(fact=first.address, replacement=replaced("U-3"))
    plant.submit(Correction(at=at(105), reason="typing", changes=(change,)))
    assert "U-3" == plant.row(Claim, "C-1").replacement
    assert ["U-3"] == [row.unit for row in plant.tables.listed()["Replacement"] if isinstance(row, Replacement)]
    plant.submit(opened("C-2", unit="U-3", mode="void"), examined("C-2"), decided(claim="C-2"))
    assert [] == plant.submit(replaced("U-2", "C-2")).codes


def test_a_correction_of_the_claim_keeps_its_replacement() -> None:
    """The row names the old ball as the claim names it now."""
    plant, serials = sold_plant(3)
    first = plant.submit(opened(serial=serials[0]), examined(), decided())
    plant.submit(replaced("U-2"))
    change = Change(fact=first.address, replacement=opened(unit="U-1"))
    plant.submit(Correction(at=at(105), reason="typing", changes=(change,)))
    row = plant.row(Replacement, "C-1")
    assert ("U-2", "U-1", None) == (row.unit, row.old_unit, row.old_serial)
    check_views(plant)
