"""What the desk is told about a number: standing, what stands out, and the facts that show it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.errors import MalformedRecord
from ledger.warranty.answer import Reason
from tests.application.floor import (
    HOUR_MS,
    START_MS,
    Floor,
    at,
    blocks,
    claimed,
    cores,
    corrected,
    engraved,
    held,
    inspected,
    shells,
)


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant that tells everything at once: nothing is late."""
    made = Floor(tmp_path, punctual=True)
    yield made
    made.book.close()


def stands_out(floor: Floor, serial: str = "P-1") -> list[Reason]:
    """What stands out about the one ball that a number leads to."""
    (ball,) = floor.book.warranty(serial).balls
    return list(ball.stands_out)


def of(reasons: list[Reason], about: str) -> list[tuple[str, tuple[str, ...]]]:
    """What is said of one node, with its facts."""
    return [(reason.said, reason.facts) for reason in reasons if reason.about == about]


def test_an_ordinary_ball_is_ours_and_nothing_stands_out(ready: Floor) -> None:
    """A ball made as planned has its model, class and lots told, and no remark."""
    entered = ready.ball("U-1", "P-1")
    answer = ready.book.warranty("P-1")
    (ball,) = answer.balls
    assert ("made by us", "U-1", "M1", "Model M1", 15, "engraved") == (
        answer.standing, ball.unit, ball.model, ball.model_name, ball.weight_class, ball.state,
    )  # fmt: skip
    assert ((), (entered.addresses[0],)) == (ball.stands_out, ball.facts)
    assert "shell lot SL-1: certain" == ball.of_what[0]
    assert {"core lot CL-1: certain", "block lot BL-1: certain", "material lot DRUM: certain"} < set(ball.of_what)


def test_each_standing_of_a_number(ready: Floor) -> None:
    """Unknown, issued without a ball, one ball, several balls: each is told in its own words."""
    (own,) = ready.book.allot_serials("E-1", 1, "allot", ready.lead).serials
    ready.say(engraved("U-1", "P-1"), engraved("U-2", "P-2"), engraved("U-3", "P-2"))
    found = {number: ready.book.warranty(number) for number in ("P-9", own.lower(), "P-1", "P-2")}
    assert ["unknown", "number issued, no ball registered", "made by us", "several balls"] == [
        answer.standing for answer in found.values()
    ]
    assert ([0, 0, 1, 2], own) == ([len(answer.balls) for answer in found.values()], found[own.lower()].serial)


def test_a_former_number_and_an_ended_ball_stand_out(ready: Floor) -> None:
    """A ball that now bears another number, or that should not be with an owner, is told as such with its facts."""
    first = ready.say(engraved("U-1", "P-1"))
    anew = {"kind": "ball-engraved-anew", "at": at(80), "unit": "U-1", "serial": "P-2", "station": "E-1"}
    second = ready.say({**anew, "reason": "cut-badly", "scheme": "prior"})
    ready.say({"kind": "scrap", "at": at(81), "unit": "U-1", "how": "scrap", "reason": "chipped"})
    facts = (first.addresses[0], second.addresses[0])
    assert [
        ("P-1 is a former number of this ball; it now bears P-2", facts),
        ("the book has this ball as scrapped: it should not be with an owner", facts),
    ] == of(stands_out(ready), "unit:U-1")


def test_breaches_and_concessions_above_are_tied_to_their_facts(floor: Floor) -> None:
    """An early pour and the concession on it are told of the core lot, each with the fact that says so."""
    floor.stock()
    early = floor.say(cores("CL-1", 20, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)))
    floor.ball("U-1", "P-1")
    hold = f"B{early.addresses[0]}.0"
    conceded = floor.say(
        {"kind": "concession", "at": at(90), "node": "lot:CL-1", "holds": [hold], "reason": "cut-open"}
    )
    breach, concession = of(stands_out(floor), "lot:CL-1")
    assert (True, (early.addresses[0],)) == (breach[0].startswith("a rule was not kept: "), breach[1])
    assert (f"a concession was given: on {hold}", (conceded.addresses[0],)) == concession


def test_holds_are_tied_to_the_facts_that_placed_and_lifted_them(ready: Floor) -> None:
    """Open and lifted holds of ball and lots are told, holds by rule among them."""
    ready.ball("U-1", "P-1")
    placed = ready.say(held("H-1", node="lot:DRUM"), held("H-2", node="unit:U-1"), held("H-3", rule={"model": "M1"}))
    lifted = ready.say({"kind": "hold-lifted", "at": at(105), "hold": "H-2", "reason": "looked-at"})
    reasons = stands_out(ready)
    assert [("a hold is open: H-1, suspect", (placed.addresses[0],))] == of(reasons, "lot:DRUM")
    assert [
        ("a hold was open and was lifted: H-2, suspect", (placed.addresses[1], lifted.addresses[0])),
        ("a hold is open: H-3, suspect", (placed.addresses[2],)),
    ] == of(reasons, "unit:U-1")


def test_late_and_doubtful_facts_about_the_ball_stand_out(ready: Floor) -> None:
    """A report told late and one ahead of the clock are told; once withdrawn they are not. That of a claim says nothing."""
    ready.now_ms = START_MS + 100 * HOUR_MS
    ready.punctual = False
    late, doubtful = ready.say(engraved("U-1", "P-1", 70)), ready.say(inspected("U-1", 101, mass="15.1"))
    ready.say(claimed("C-1", 90, unit="U-1"))
    expected = [("told late: ball-engraved", late.addresses), ("its time is doubtful: inspection", doubtful.addresses)]
    assert expected == of(stands_out(ready), "unit:U-1")[:-1]
    ready.say(corrected({"fact": doubtful.addresses[0]}, hours=99))
    assert expected[:1] == of(stands_out(ready), "unit:U-1")[:-1]


def test_a_cure_near_its_edge_stands_out(floor: Floor) -> None:
    """A final cure that was kept by ten minutes is told of the lot that was poured, with the fact of its pouring."""
    floor.stock()
    floor.say(cores("CL-1", 30, ("BL-1", 40)))
    poured = floor.say(shells("SL-1", 40, ("CL-1", 40)))
    floor.ball("U-1", "P-1", 64.25 + 1 / 6)
    assert [("final-cure kept its least time of 86400 s by 600 s", poured.addresses)] == of(
        stands_out(floor), "lot:SL-1"
    )


def test_earlier_claims_on_the_ball_stand_out(ready: Floor) -> None:
    """A claim by unit and one by number are told with all their facts, oldest first."""
    ready.ball("U-1", "P-1")
    second = ready.say(claimed("C-2", 301, serial="P-1"))
    first = ready.say(claimed("C-1", 300, unit="U-1"))
    examined = ready.say({"kind": "claim-examined", "at": at(310), "claim": "C-1", "findings": ["cracked"]})
    assert [
        (
            "earlier claim C-1 on this ball (crack-over-block): examined",
            (first.addresses[0], examined.addresses[0]),
        ),
        ("earlier claim C-2 on this ball (crack-over-block): open", second.addresses),
    ] == of(stands_out(ready), "unit:U-1")


def test_claims_on_sisters_are_counted_for_each_lot(floor: Floor) -> None:
    """Claims on balls of the same shell, core or block lot are counted there; the ball's own and strangers' are not."""
    floor.stock(80)
    floor.say(blocks("BL-2", 3, 40))
    floor.say(cores("CL-1", 30, ("BL-1", 40)), cores("CL-2", 30, ("BL-2", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 20)), shells("SL-2", 40, ("CL-1", 20)), shells("SL-3", 40, ("CL-2", 40)))
    for number, lot in enumerate(("SL-1", "SL-1", "SL-2", "SL-2", "SL-3"), 1):
        floor.ball(f"U-{number}", f"P-{number}", lot=lot)
    told = [
        floor.say(claimed(f"C-{number}", 300 + number, serial=f"P-{number}")).addresses[0] for number in range(1, 6)
    ]
    reasons = stands_out(floor)
    sisters = {reason.about: (reason.said, set(reason.facts)) for reason in reasons if "other ball" in reason.said}
    assert {
        "lot:SL-1": ("1 claim among 1 other ball that hold or may hold something of shell lot SL-1", {told[1]}),
        "lot:CL-1": ("3 claims among 3 other balls that hold or may hold something of core lot CL-1", set(told[1:4])),
        "lot:BL-1": ("3 claims among 3 other balls that hold or may hold something of block lot BL-1", set(told[1:4])),
    } == sisters


def test_a_ball_that_its_place_clears_is_no_sister(floor: Floor) -> None:
    """Where positions were recorded, a claim on a ball from the other core lot does not count."""
    floor.stock(80)
    floor.say(cores("CL-1", 30, ("BL-1", 40)), cores("CL-2", 30, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 20, 1, 20), ("CL-2", 20, 21, 40)))
    floor.ball("U-1", "P-1", place=1)
    floor.ball("U-2", "P-2", place=2)
    floor.ball("U-3", "P-3", place=30)
    floor.say(claimed("C-2", serial="P-2"), claimed("C-3", serial="P-3"))
    sisters = {reason.about: reason.said for reason in stands_out(floor) if "other ball" in reason.said}
    assert "1 claim among 1 other ball that hold or may hold something of core lot CL-1" == sisters["lot:CL-1"]
    assert "2 claims among 2 other balls that hold or may hold something of shell lot SL-1" == sisters["lot:SL-1"]


def test_possible_lots_are_told_as_possible(floor: Floor) -> None:
    """What stands out about a lot that the ball may not hold is marked as possible."""
    floor.stock(40)
    early = floor.say(cores("CL-1", 20, ("BL-1", 20)))
    floor.say(cores("CL-2", 30, ("BL-1", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 20), ("CL-2", 20)))
    floor.ball("U-1", "P-1")
    (reason,) = [reason for reason in stands_out(floor) if reason.about == "lot:CL-1"]
    assert ("possible", early.addresses) == (reason.certainty, reason.facts)


def test_every_named_fact_is_in_the_book(floor: Floor) -> None:
    """Each fact that a reason names is one of the entries' records."""
    floor.stock()
    floor.say(cores("CL-1", 20, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)))
    floor.ball("U-1", "P-1", 50)
    floor.ball("U-2", "P-2")
    floor.say(held("H-1", node="lot:DRUM"), claimed("C-1", serial="P-2"), claimed("C-2", serial="P-1"))
    facts = [fact for reason in stands_out(floor) for fact in reason.facts]
    assert len(facts) >= 6
    for fact in facts:
        index, position = map(int, fact.split("."))
        assert position < len(floor.book.entry(index).entry["said"]["records"])


@pytest.mark.parametrize("asked", [{"bought_on": "2026-13-01"}, {"asked_on": "1.2.2026"}, {"asked_on": "20260102"}])
def test_a_date_that_is_none_is_refused(ready: Floor, asked: dict[str, str]) -> None:
    """A day that no calendar has is refused by its field."""
    with pytest.raises(MalformedRecord, match="YYYY-MM-DD"):
        ready.book.warranty("P-1", **asked)
