"""The desk's queries on each database: sisters, families, lists, the answer, the letter and the terms."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.sisters import sister_claims
from ledger.line.claim_rows import Claim
from ledger.line.rows import Unit
from ledger.store.blobs import read_blob
from ledger.store.claim_search import ClaimFilter, search_claims
from ledger.store.families import like_balls, lots_near
from ledger.store.lot_claims import balls_of_lots, claims_of_lots
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.application.desk_stories import adopt_terms, answered, decided, examined, letter, listed, photo, seen
from tests.application.floor import Floor, claimed, cores, engraved, shells


@pytest.fixture
def desk(url: str, tmp_path: Path) -> Iterator[Floor]:
    """Two shell lots of one core lot, six balls, five claims; the number P-5 is on two balls."""
    floor = Floor(tmp_path, url=url)
    floor.stock(80)
    floor.say(cores("CL-1", 30, ("BL-1", 80)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)), shells("SL-2", 41, ("CL-1", 40)))
    for number, lot in enumerate(("SL-1", "SL-1", "SL-1", "SL-2", "SL-2"), 1):
        floor.ball(f"U-{number}", f"P-{number}", lot=lot)
    floor.say(engraved("U-6", "P-5", lot="SL-2", place=7))
    floor.say(claimed("C-1", 300, serial="P-1", bought_on="2026-09-28", evidence=[photo(floor)], claimant="Ann"))
    floor.say(claimed("C-2", 301, unit="U-2"), claimed("C-3", 302, serial="P-3"), claimed("C-4", 303, serial="P-5"))
    floor.say(claimed("C-5", 304, unit="U-4"), examined("C-5"), decided("C-5", "reject", "misuse"))
    yield floor
    floor.book.close()


def test_claims_of_lots_are_those_on_their_balls(desk: Floor) -> None:
    """By unit or by a number borne once; one that two balls bear is on neither; balls are counted by place."""
    with open_reader(desk.book.store) as reader:
        assert [("C-1", "U-1"), ("C-2", "U-2"), ("C-3", "U-3")] == [
            (one.claim, one.unit) for one in claims_of_lots(reader, ["SL-1"])
        ]
        assert [("C-5", "reject", "U-4")] == [
            (one.claim, one.state, one.unit) for one in claims_of_lots(reader, ["SL-2"])
        ]
        assert ([], []) == (claims_of_lots(reader, []), claims_of_lots(reader, ["SL-9"]))
        assert {("SL-1", None, 3), ("SL-2", None, 2), ("SL-2", 7, 1)} == set(balls_of_lots(reader, ["SL-1", "SL-2"]))


def test_sister_claims_leave_out_the_ball_itself(desk: Floor) -> None:
    """Of the core lot there are three claims beside the ball's own, one of them rejected; of its shell lot two."""
    with open_reader(desk.book.store) as reader:
        unit = reader.one(Unit, "U-1")
        assert unit is not None
        found = sister_claims(reader, unit, ["SL-1", "CL-1"], but="C-1")
    assert (2, 2, 0) == (found["SL-1"].claims, found["SL-1"].balls, found["SL-1"].rejected)
    assert (3, 5, 1) == (found["CL-1"].claims, found["CL-1"].balls, found["CL-1"].rejected)


def test_the_like_are_found_nearest_first(desk: Floor) -> None:
    """Lots of a model and stage by distance in time, and their balls of a weight class up to a number."""
    with open_reader(desk.book.store) as reader:
        near = lots_near(reader, "M1", "shell", 10**13, within_ms=10**13, most=5)
        assert ["SL-2", "SL-1"] == [lot.lot for lot in near]
        assert ["SL-2"] == [lot.lot for lot in lots_near(reader, "M1", "shell", 10**13, within_ms=10**13, most=1)]
        assert [] == lots_near(reader, "M1", "shell", 10**13, within_ms=1, most=5)
        balls = like_balls(reader, ["SL-2", "SL-1"], 15, ["mass", "hardness"], most=4, of_a_lot=9)
        assert [("U-4", "SL-2"), ("U-5", "SL-2"), ("U-1", "SL-1"), ("U-2", "SL-1")] == [
            (ball.unit, ball.lot) for ball in balls
        ]
        assert (15_100_000, 74_000_000) == balls[0].values
        few = like_balls(reader, ["SL-2", "SL-1"], 15, ["mass"], most=4, of_a_lot=1)
        assert ["U-4", "U-1"] == [ball.unit for ball in few]
        assert ([], []) == (
            like_balls(reader, ["SL-2"], 14, ["mass"], most=4, of_a_lot=9),
            like_balls(reader, ["SL-2"], None, ["mass"], most=4, of_a_lot=9),
        )


def test_a_list_is_the_filter_of_every_claim(desk: Floor) -> None:
    """Each filter gives what looking at every claim gives, in pages of two."""
    with open_reader(desk.book.store) as reader:
        every: list[Claim] = sorted(every_row(reader.transaction, Claim), key=lambda row: (row.opened_ms, row.claim))
        for wanted in (
            ClaimFilter(),
            ClaimFilter(states=("open", "reject")),
            ClaimFilter(mode="void"),
            ClaimFilter(since_ms=every[2].opened_ms),
            ClaimFilter(model="M1", states=("open",)),
        ):
            expected = [
                row.claim
                for row in every
                if (not wanted.states or row.state in wanted.states)
                and wanted.mode in {None, row.mode}
                and (wanted.since_ms is None or row.opened_ms >= wanted.since_ms)
            ]
            found, after = list[str](), None
            while page := search_claims(reader, wanted, after, 2):
                found += [row.claim for row in page]
                after = page[-1]
            assert expected == found


def test_a_claim_is_answered_listed_and_replied_to(desk: Floor) -> None:
    """The whole way of one claim, with terms of the plant's own."""
    adopt_terms(desk, 'format = 1\n[[term]]\nmonths = 24\nsource = "plant"\n')
    desk.say(claimed("C-6", 1_000, serial="P-1", bought_on="2026-09-28"), examined("C-6", 1_000))
    answer = answered(desk, "C-6")
    assert "24 months from purchase (any model, any market; source: plant)" == answer.answer.balls[0].rule
    assert [("C-1", "same fault")] == [(one.claim, one.link) for one in answer.answer.balls[0].claims]
    desk.say(decided("C-6", "accept", "fault-found", 1_000))
    written, entered = letter(desk, "C-6", to=("Ann",))
    assert entered.addresses[0] == seen(desk, "C-6").facts[-1].fact
    assert read_blob(desk.book.store, written.letter).bytes.startswith(b"%PDF-")
    assert ["C-6"] == [one.claim for one in listed(desk, state="accept").claims]
