"""Lot pages against the closing that they are of: what a forger with the dossier key may change."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from msgspec import UNSET

from ledger.book.merkle import root
from ledger.errors import DossierRejected, LedgerError
from ledger.evidence.dossier_format import LotBall, Scope, Sha256
from ledger.evidence.lot_check import LotFound, ball_leaf
from ledger.evidence.lot_words import lot_words, unclosed_words
from ledger.evidence.report import DossierReport
from ledger.line.lot_changes import balls_root
from tests.evidence.small_dossier import SUBMISSIONS, made_book, sheet, written
from tests.evidence.test_verifier import check, first_wrong
from tests.evidence.witnessed_dossier import (
    ADOPTED,
    BALLS,
    CLOSED,
    CLOSING,
    LEAVES,
    closed_book,
    cosigned,
    entries_of,
    full_content,
    lot_page,
)

HERE = (LotBall(unit="U-1", place=0, serial=BALLS["U-1"]), LotBall(unit="U-2", place=1, serial=BALLS["U-2"]))
WHOLE = Scope(kind="lots", names=("S1",), words="every ball of shell lot S1")


def found(**more: Any) -> DossierReport:
    """What a check of the dossier with these contents found."""
    report: DossierReport = check(written(full_content(**more)))
    return report


def wrong(**page: Any) -> LedgerError:
    """What is wrong with the dossier whose lot page says so."""
    return first_wrong(written(full_content(lots=[lot_page(**page)])))


def test_leaves_are_those_that_the_closing_is_over() -> None:
    """The root over single leaves is the one that `lot-closed` states."""
    assert balls_root(BALLS.items()) == lot_page().balls_root
    assert LEAVES[0] == ball_leaf("U-1", BALLS["U-1"])


def test_two_of_three_are_counted() -> None:
    """The page says so, and the report with it."""
    report = found()
    assert (LotFound(lot="S1", closed=CLOSING, count=3, here=2),) == report.lots
    assert "2 of 3 balls of lot S1 are here" in "\n".join(report.lines())


def test_a_whole_lot_with_one_left_out_is_refused() -> None:
    """The scope says all, and two of three are here."""
    error = first_wrong(written(full_content(scope=WHOLE)))
    assert ("lots/S1.json", "2 of 3") == (error.where, error.got)


@pytest.mark.parametrize(
    ("page", "problem"),
    [
        ({"count": 2}, "told otherwise than its entries say"),
        ({"closed": "12.0"}, "told otherwise than its entries say"),
        ({"closed": UNSET, "count": UNSET, "balls_root": UNSET, "leaves": ()}, "told otherwise than its entries say"),
        ({"body": "13.0.0"}, "told otherwise than its entries say"),
        ({"leaves": LEAVES[:2]}, "leaves are not as many as balls"),
        ({"leaves": (LEAVES[0], LEAVES[1], LEAVES[0])}, "leaves lead to another root"),
        ({"leaves": ()}, "leaves are not as many as balls"),
        ({"units": HERE[:1]}, "ball is not on the page of its lot"),
        ({"units": (HERE[1], HERE[0])}, "balls are not in ascending order"),
        ({"units": (HERE[0], HERE[0])}, "balls are not in ascending order"),
        ({"units": (*HERE, LotBall(unit="U-9", place=2, serial=BALLS["U-9"]))}, "ball of the lot has no sheet here"),
        ({"units": (*HERE, LotBall(unit="U-9", place=2, serial=BALLS["U-9"], gone=True))}, "no entry here withdraws"),
        ({"units": (HERE[0], LotBall(unit="U-2", place=2, serial=BALLS["U-2"]))}, "ball is not the leaf at its place"),
        ({"units": (HERE[0], LotBall(unit="U-2", place=7, serial=BALLS["U-2"]))}, "places are not in ascending order"),
        ({"units": (HERE[0], LotBall(unit="U-2", place=0, serial=BALLS["U-2"]))}, "places are not in ascending order"),
        ({"units": (HERE[0], LotBall(unit="U-2", place=1))}, "ball is not the leaf at its place"),
        ({"units": (HERE[0], LotBall(unit="U-2"))}, "told as added later, and has a leaf"),
        ({"units": (HERE[0], LotBall(unit="U-2", serial=BALLS["U-2"]))}, "ball without a place tells of the closing"),
        ({"lot": "S2"}, ""),
    ],
)
def test_a_page_that_says_otherwise_is_refused(page: dict[str, Any], problem: str) -> None:
    """Each part of it follows from the closing or from the sheets."""
    error = wrong(**page)
    assert problem in str(error)
    assert "lots/S" in error.where


def test_another_number_needs_an_entry_that_says_so() -> None:
    """A leaf with a number that the ball never bore, under a root that fits, is refused."""
    leaves = [ball_leaf("U-1", "OTHER"), *LEAVES[1:]]
    said = closed_with(leaves)
    page = lot_page(
        leaves=tuple(leaves), balls_root=said, units=(LotBall(unit="U-1", place=0, serial="OTHER"), HERE[1])
    )
    error = first_wrong(forged(said, page))
    assert "bore another number, and no entry says so" in str(error)


def test_a_lot_without_its_closing_is_told_as_not_closed() -> None:
    """The entry that closed it was left out: then nothing is said of how many there are, and that is not hidden."""
    page = lot_page(
        closed=UNSET, count=UNSET, balls_root=UNSET, leaves=(), units=(LotBall(unit="U-1"), LotBall(unit="U-2"))
    )
    report = found(entries=entries_of(closed_book(), (10, int(CLOSING.partition(".")[0]))), lots=[page])
    assert (LotFound(lot="S1", added=2),) == report.lots
    assert "no entry here closes it; 2 balls are here" in "\n".join(report.lines())


def test_a_page_of_another_lot_is_refused() -> None:
    """A file name is what the page is of."""
    with pytest.raises(DossierRejected):
        check(written(full_content(lots=[lot_page(lot="S2")])))


def test_a_scope_that_names_another_lot_is_refused() -> None:
    """Its page is missing."""
    scope = Scope(kind="lots", names=("S1", "S2"), words="two lots")
    assert "lots/" in first_wrong(written(full_content(scope=scope))).where


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (LotFound(lot="L", count=240, here=240), "all 240 balls of lot L are here"),
        (LotFound(lot="L", count=240, here=239), "239 of 240 balls of lot L are here"),
        (LotFound(lot="L", count=3, here=2, gone=1), "2 of 3 balls of lot L are here, 1 withdrawn since"),
        (
            LotFound(lot="L", count=3, here=3, added=2, renumbered=1, moved=1),
            (
                "all 3 balls of lot L are here, 1 with another number since, 1 said to be of another lot since, "
                "2 added after the lot was closed"
            ),
        ),
    ],
)
def test_a_lot_in_words(one: LotFound, words: str) -> None:
    """How many of how many, and what happened since."""
    assert words == lot_words(one)


def test_a_lot_that_is_not_closed_in_words() -> None:
    """One ball, and several."""
    assert "1 ball is here" in unclosed_words(LotFound(lot="L", added=1))
    assert "2 balls are here" in unclosed_words(LotFound(lot="L", added=2))


def closed_with(leaves: list[str]) -> Sha256:
    """The root over these leaves."""
    return root([bytes.fromhex(leaf) for leaf in leaves]).hex()


def forged(balls_root_said: str, page: Any) -> bytes:
    """The dossier of a book whose closing states another root."""
    made = made_book((*SUBMISSIONS, [CLOSED | {"balls_root": balls_root_said}], [ADOPTED]))
    made = replace(made, note=cosigned(made.note))
    return written(
        full_content(checkpoint=made.note, entries=entries_of(made), lots=[page], balls=[sheet("U-1"), sheet("U-2")])
    )
