"""Failure modes: the trade's, and the plant's own with their words."""

from __future__ import annotations

from ledger.errors import UnknownSubject
from ledger.line.claim_rows import Claim, FailureMode
from ledger.line.corrections import Change, Correction
from ledger.line.failure_modes import SOURCE, TRADE_MODES, FailureModeAdded
from tests.line.claiming import opened, sold_plant
from tests.line.independent_fold import check_views
from tests.line.making import at


def added(words: str = "hums on the lane") -> FailureModeAdded:
    """A mode of the plant's own."""
    return FailureModeAdded(at=at(90), mode="hums", words=words)


def test_the_terms_of_the_trade_have_words_and_no_source() -> None:
    """Ten of them, each with words of its own; where they are from is said."""
    assert (10, 10) == (len(TRADE_MODES), len(set(TRADE_MODES.values())))
    assert "common practice of the trade, no source" == SOURCE


def test_words_are_put_anew() -> None:
    """The mode stays one; the last words stand."""
    plant, _ = sold_plant()
    plant.submit(added())
    second = plant.submit(added("hums while it rolls"))
    row = FailureMode(mode="hums", words="hums while it rolls", address=second.address)
    assert [row] == plant.tables.listed()["FailureMode"]
    check_views(plant)


def test_a_mode_that_was_taken_back_stays_with_the_claims_that_named_it() -> None:
    """No further claim may name it."""
    plant, _ = sold_plant()
    first = plant.submit(added())
    plant.submit(opened(unit="U-1", mode="hums"))
    plant.submit(Correction(at=at(101), reason="not-told-apart", changes=(Change(fact=first.address),)))
    assert "hums" == plant.row(Claim, "C-1").mode
    refusal = plant.refused(opened("C-2", unit="U-1", mode="hums"))
    assert (UnknownSubject, "mode") == (type(refusal), refusal.where)
    check_views(plant)
