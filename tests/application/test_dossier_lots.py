"""Lots in dossiers: whole, in part, not closed, and changed since they were closed."""

from __future__ import annotations

import io
from typing import Any

import pytest

from ledger.errors import DossierRejected, NotFound
from ledger.evidence.lot_check import LotFound
from ledger.evidence.verifier import check_dossier
from tests.application.floor import Floor, at, corrected, engraved, floor_signers, shells
from tests.application.wanted_dossiers import KEY, checked, closed, page, written
from tests.evidence.small_dossier import members, resealed

CLOSED = {"lot": "SL-1", "count": 3}


@pytest.fixture
def lot(ready: Floor) -> Floor:
    """Three balls of SL-1."""
    for number in (1, 2, 3):
        ready.ball(f"U-{number}", f"P-{number}")
    return ready


def found(floor: Floor, **wanted: Any) -> LotFound:
    """The one lot of a dossier."""
    (one,) = checked(written(floor, **wanted)).lots
    return one


def said(floor: Floor, **wanted: Any) -> str:
    """All lines of the report."""
    return "\n".join(checked(written(floor, **wanted)).lines())


def test_a_lot_that_is_not_closed_is_told_as_such(lot: Floor) -> None:
    """How many balls it has is not known then."""
    assert LotFound(lot="SL-1", added=2) == found(lot, serials=("P-1", "P-2"))
    assert "these are all the balls of lot SL-1: no entry here closes it; 3 balls are here" in said(lot, lots=("SL-1",))


def test_some_balls_of_a_closed_lot_are_counted(lot: Floor) -> None:
    """Two of three, by the leaves that the closing fixes."""
    address = closed(lot).addresses[0]
    assert LotFound(lot="SL-1", closed=address, count=3, here=2) == found(lot, serials=("P-1", "P-3"))
    assert "2 of 3 balls of lot SL-1 are here" in said(lot, serials=("P-1", "P-3"))


def test_a_whole_lot_is_whole(lot: Floor) -> None:
    """All three."""
    closed(lot)
    assert found(lot, lots=("SL-1",)).is_whole
    assert "all 3 balls of lot SL-1 are here" in said(lot, lots=("SL-1",))


def test_a_ball_left_out_of_a_whole_lot_is_missed(lot: Floor) -> None:
    """Whoever holds the dossier key cannot leave one out and still call the lot whole."""
    closed(lot)
    files = members(written(lot, lots=("SL-1",), parts=("lots",)))
    del files["balls/U-2.json"]
    files["lots/SL-1.json"] = files["lots/SL-1.json"].replace(b'{"unit":"U-2","place":1,"serial":"P-2"},', b"")
    raw = resealed(
        files, floor_signers().dossier, {"counts": {"balls": 2}}, lot.book.checkpoint().split(b"\n")[0].decode()
    )
    with pytest.raises(DossierRejected, match="lot SL-1 is not whole: expected 3 balls, got 2 of 3"):
        check_dossier(io.BytesIO(raw), [KEY])


def test_a_dossier_of_one_ball_holds_no_entry_of_another(lot: Floor) -> None:
    """What made the others of its lot is theirs."""
    closed(lot)
    raw = written(lot, serials=("P-1",))
    assert (True, False) == (b"P-1" in raw, b'"P-2"' in raw)


def test_another_number_since_the_closing_is_told(lot: Floor) -> None:
    """The leaf holds the number of then, the sheet the number of now."""
    closed(lot)
    lot.say({"kind": "ball-engraved-anew", "at": at(130), "unit": "U-2", "serial": "P-22", "station": "E-1",
             "reason": "cut-badly", "scheme": "prior"})  # fmt: skip
    assert (3, 1) == ((one := found(lot, lots=("SL-1",))).here, one.renumbered)
    assert {"unit": "U-2", "place": 1, "serial": "P-2"} in page(written(lot, serials=("P-22",)), "lots/SL-1.json")[
        "units"
    ]
    assert "all 3 balls of lot SL-1 are here, 1 with another number since" in said(lot, lots=("SL-1",))


def test_a_number_that_was_typed_wrongly_is_told(lot: Floor) -> None:
    """A correction of the engraving after the closing: the leaf is over what was said then."""
    entered = lot.ball("U-4", "P-5")
    closed(lot)
    lot.say(corrected({"fact": entered.addresses[0], "replacement": engraved("U-4", "P-4")}))
    assert (4, 1) == ((one := found(lot, lots=("SL-1",))).here, one.renumbered)


def test_a_ball_added_after_the_closing_is_told(lot: Floor) -> None:
    """It has no leaf, and the lot is whole without it."""
    closed(lot)
    lot.ball("U-9", "P-9", 130)
    one = found(lot, lots=("SL-1",))
    assert (3, 3, 1, True) == (one.count, one.here, one.added, one.is_whole)
    assert "added after the lot was closed" in said(lot, serials=("P-9",))


def test_a_ball_that_was_of_another_lot_is_told(lot: Floor) -> None:
    """A correction after the closing moves it; the lot that it was counted in still shows it."""
    lot.say(shells("SL-2", 41, ("CL-1", 1)))
    entered = lot.ball("U-4", "P-4")
    closed(lot)
    lot.say(corrected({"fact": entered.addresses[0], "replacement": engraved("U-4", "P-4", lot="SL-2")}))
    report = checked(written(lot, lots=("SL-1",)))
    assert [("SL-1", 4, 4, 1), ("SL-2", None, 0, 0)] == [
        (one.lot, one.count, one.here, one.moved) for one in report.lots
    ]
    assert 4 == report.counts.balls
    assert "1 said to be of another lot since" in "\n".join(report.lines())


def test_a_ball_that_was_withdrawn_is_told(lot: Floor) -> None:
    """An engraving that never was: its leaf is accounted for by the correction that takes it back."""
    entered = lot.say(engraved("U-4", "P-4"))
    closed(lot)
    lot.say(corrected({"fact": entered.addresses[0]}))
    report = checked(written(lot, lots=("SL-1",)))
    assert (4, 3, 1, 3) == (
        report.lots[0].count, report.lots[0].here, report.lots[0].gone, report.counts.balls,
    )  # fmt: skip
    assert "3 of 4 balls of lot SL-1 are here, 1 withdrawn since" in "\n".join(report.lines())


def test_a_corrected_closing_counts_as_corrected(lot: Floor) -> None:
    """The newest statement of the count is the one that counts."""
    first = closed(lot)
    lot.ball("U-4", "P-4", 130)
    with pytest.raises(Exception, match="other balls than stated"):
        lot.say({"kind": "lot-closed", "at": at(140), "lot": "SL-1", "count": 3, "balls_root": "0" * 64})
    closed(lot, hours=141)
    one = found(lot, lots=("SL-1",))
    assert (4, 4, False) == (one.count, one.here, one.closed == first.addresses[0])


def test_a_lot_without_balls_gives_no_dossier(ready: Floor) -> None:
    """And neither does one that the book does not know."""
    for name in ("SL-1", "SL-404"):
        with pytest.raises(NotFound, match="has no ball"):
            written(ready, lots=(name,))


def test_lots_may_be_left_out(lot: Floor) -> None:
    """Then the report says that nothing is known of completeness."""
    report = checked(written(lot, serials=("P-1",), parts=()))
    assert ((), "lots") == (report.lots, next(line.code for line in report.not_checked() if line.code == "lots"))
