"""What closed lots show of the lists that samples were drawn from, and what they leave open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.errors import MalformedInput
from ledger.evidence.candidates_check import CandidatesFound, check_candidates
from ledger.evidence.dossier_format import LotPage
from ledger.evidence.lot_check import ball_leaf
from ledger.line.approval_draw import Candidate, candidate_list
from ledger.line.approval_rows import ApprovalAnnouncement

BALLS = {lot: [(f"{lot}-{number}", f"P{lot}{number}") for number in range(3)] for lot in ("A", "B")}


def announced(lots: str = "", address: str = "20.0") -> ApprovalAnnouncement:
    """An announcement out of these lots, or of any."""
    return ApprovalAnnouncement(
        announcement=address, file="AF-1", lots=lots, states="engraved", grades="", rule="draw-1",
        candidates="c" * 64, classes="[]", why=None, at_ms=0, by="a-1",
    )  # fmt: skip


def lot(name: str, *, is_closed: bool = True) -> LotPage:
    """The page of a lot with its three balls, or of one that no entry closes."""
    leaves = tuple(ball_leaf(unit, serial) for unit, serial in BALLS[name])
    return LotPage(lot=name, closed="30.0" if is_closed else UNSET, leaves=leaves if is_closed else ())


def told(
    balls: Sequence[tuple[str, str]], pages: Sequence[LotPage], *rows: ApprovalAnnouncement, **_: Any
) -> CandidatesFound:
    """What is said of a list of these balls."""
    raw = candidate_list([Candidate(15, unit, serial) for unit, serial in balls])
    return check_candidates(rows or (announced(),), lambda _digest: raw, pages)


def test_a_lot_of_which_every_ball_is_listed_was_whole() -> None:
    """Where the lots are named and all are here, nothing is left open."""
    found = told([*BALLS["A"], *BALLS["B"]], [lot("A"), lot("B")], announced("A,B"))

    assert "every ball that lot A had when it was closed, 3 of 3, was a candidate of fact 20.0" in found.found
    assert "lot B had when it was closed, 3 of 3" in found.found
    assert "" == found.left


def test_a_ball_that_was_left_out_of_the_list_shows() -> None:
    """It is counted, and no lot is told as whole by it."""
    found = told(BALLS["A"][1:], [lot("A")], announced("A"))

    assert (
        CandidatesFound(
            left="whether 1 of the 3 balls that lot A had when it was closed should have been candidates of fact 20.0"
        )
        == found
    )


def test_a_ball_under_another_number_is_none_of_the_list() -> None:
    """A candidate is a unit and its number, as a leaf is."""
    other = [(BALLS["A"][0][0], "PX"), *BALLS["A"][1:]]

    assert "whether 1 of the 3 balls" in told(other, [lot("A")], announced("A")).left


@pytest.mark.parametrize("pages", [[], [lot("B")], [lot("A", is_closed=False)]], ids=["none", "another", "not closed"])
def test_a_named_lot_that_is_not_here_as_closed_is_left_open(pages: list[LotPage]) -> None:
    """Nothing is known of it."""
    found = told(BALLS["A"], pages, announced("A"))

    assert ("", "whether all candidates are listed by fact 20.0: lot A is not here as closed") == found


def test_several_named_lots_that_are_not_here_are_told_together() -> None:
    """In one line."""
    assert "lots A, B are not here as closed" in told(BALLS["A"], [], announced("A,B")).left


def test_where_any_lot_could_be_drawn_from_the_others_stay_open() -> None:
    """A lot of which no ball is listed is no matter of the draw, as far as the dossier shows."""
    found = told(BALLS["A"], [lot("A"), lot("B")])

    assert "lot A had when it was closed, 3 of 3" in found.found
    assert "lot B" not in found.found + found.left
    assert "whether lots that are not here had candidates that fact 20.0 should have listed" == found.left


def test_each_announcement_has_its_own_lines() -> None:
    """A file that drew twice is told twice."""
    found = told(BALLS["A"], [lot("A")], announced("A"), announced("B", "40.0"))

    assert ("fact 20.0" in found.found, "fact 40.0" in found.found) == (True, False)
    assert "fact 40.0: lot B is not here" in found.left


def test_without_an_announcement_nothing_is_said() -> None:
    """A file before its first draw has no list."""
    assert CandidatesFound() == check_candidates((), lambda _digest: b"", [lot("A")])


def test_a_list_that_is_none_is_refused() -> None:
    """As wherever lists are read."""
    with pytest.raises(MalformedInput):
        check_candidates([announced()], lambda _digest: b"no list\n", [])


@given(st.sets(st.sampled_from([*BALLS["A"], *BALLS["B"]])))
def test_a_lot_is_whole_exactly_if_no_ball_of_it_is_missing(listed: set[tuple[str, str]]) -> None:
    """Whatever is listed: each named lot is told once, and the counts are those of the balls."""
    found = told(sorted(listed), [lot("A"), lot("B")], announced("A,B"))

    for name, balls in BALLS.items():
        missing = len(set(balls) - listed)
        assert (f"lot {name} had when it was closed, 3 of 3" in found.found) == (not missing)
        assert (f"whether {missing} of the 3 balls that lot {name} had" in found.left) == bool(missing)
