"""A first-quality ball with a failing reading after its release is not sold, whichever way its shipment is said."""

from __future__ import annotations

import pytest

from ledger.application.releasing import Wanted, release_records
from ledger.errors import RuleStands
from tests.application.floor import OFFICE, Floor, at, corrected, inspected, record
from tests.application.import_files import csv_of, dry, ran
from tests.application.late_balls import first_ball, read_again, sold
from tests.application.own_files import STRICTER, adopt, doubted, judged_by_own
from tests.application.test_said_releases import refused, say


@pytest.fixture
def read(ready: Floor) -> str:
    """Two first-quality balls; the second was read again and fails. Gives that reading."""
    first_ball(ready, "U-1", "P-1")
    first_ball(ready, "U-2", "P-2")
    return read_again(ready, "U-2")


def test_the_shipment_is_refused_at_once(ready: Floor, read: str) -> None:
    """It says which ball, by which reading, under which rulebook, and what would mend it."""
    error = refused(ready, record(sold("S-1", "U-1", "U-2")))
    assert (RuleStands, "records[0].units[1]", "60") == (type(error), error.where, error.got)
    assert f"by fact {read}" in error.problem
    assert "usbc-2026: hardness" in error.problem
    assert "regrade" in error.mend


def test_what_else_may_leave_leaves(ready: Floor, read: str) -> None:
    """The other ball is sold, the failing one leaves with another purpose or, at another grade, for sale."""
    ready.say(sold("S-1", "U-1"))
    ready.say(sold("S-2", "U-2", purpose="test"))
    first_ball(ready, "U-3", "P-3")
    read_again(ready, "U-3")
    ready.say({"kind": "regrade", "at": at(95), "unit": "U-3", "grade": "second", "reason": "soft"})
    ready.say(sold("S-3", "U-3"))
    assert ["shipped"] * 3 == [ready.book.ball(unit).state for unit in ("U-1", "U-2", "U-3")]


def test_a_good_reading_after_it_lets_the_ball_leave(ready: Floor, read: str) -> None:
    """What stands counts."""
    read_again(ready, "U-2", 91, "75")
    ready.say(sold("S-1", "U-2"))


def test_a_corrected_shipment_takes_no_failing_ball_along(ready: Floor, read: str) -> None:
    """A ball that is put into a shipment by a correction is looked at; those that have left stay."""
    shipped = ready.say(sold("S-1", "U-1")).addresses[0]
    read_again(ready, "U-1", 130)
    again = {"fact": shipped, "replacement": {**sold("S-1", "U-1"), "consignee": "B shop"}}
    ready.say(corrected(again))
    error = refused(ready, record(corrected({"fact": shipped, "replacement": sold("S-1", "U-1", "U-2")})))
    assert "records[0].changes[0].replacement.units[1]" == error.where


def test_a_ball_is_not_read_and_sold_at_once(ready: Floor) -> None:
    """What is read in the same submission has been judged by nobody, nor where the ball is released in it."""
    first_ball(ready, "U-1", "P-1")
    soft = record(inspected("U-1", 90, hardness="60"))
    assert "records[1].units[0]" == refused(ready, soft, record(sold("S-1", "U-1"))).where
    ready.ball("U-2", "P-2")
    ready.book.release(["U-2"], "second", "second", ready.lead).result(30)
    say(ready, record(inspected("U-2", 90, hardness="60")), record(sold("S-2", "U-2")), key="second-sold")
    ready.ball("U-3", "P-3")
    released = release_records(ready.book.store, Wanted(["U-3"], "first"), ready.now_ms, OFFICE)
    at_once = (*released, record(inspected("U-3", 90, hardness="60")), record(sold("S-3", "U-3")))
    assert "records[2].units[0]" == refused(ready, *at_once).where


def test_a_reading_and_a_correction_of_a_shipment_go_apart(ready: Floor) -> None:
    """A correction is one moment: a reading put wrong in it is not seen by the shipment beside it."""
    first_ball(ready, "U-1", "P-1")
    first_ball(ready, "U-2", "P-2")
    shipped = ready.say(sold("S-1", "U-1")).addresses[0]
    (read,) = [one.fact for one in ready.book.ball("U-2").history if one.kind == "inspection"]
    changes = (
        {"fact": shipped, "replacement": sold("S-1", "U-1", "U-2")},
        {"fact": read, "replacement": inspected("U-2", 71, hardness="60")},
    )
    assert "records[0].changes[0].replacement.units[1]" == refused(ready, record(corrected(*changes))).where


def test_a_key_that_was_used_answers_as_before(ready: Floor) -> None:
    """A shipment that is sent again after its ball came back and failed enters nothing, and is no refusal."""
    first_ball(ready, "U-1", "P-1")
    entered = say(ready, record(sold("S-1", "U-1")), key="ship")
    ready.say({"kind": "returned", "at": at(125), "unit": "U-1", "reason": "unsold"})
    ready.book.release(["U-1"], "first", "again", ready.lead).result(30)
    read_again(ready, "U-1", 130)
    assert entered.index == say(ready, record(sold("S-1", "U-1")), key="ship").index


def test_a_ball_is_judged_by_the_editions_that_its_release_names(ready: Floor) -> None:
    """An edition that was adopted afterwards counts for no ball that was let out before it."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1", "76", "0.2")
    ready.book.release(["U-1"], "first", "first", ready.lead).result(30)
    adopt(ready, STRICTER, "stricter")
    again = inspected("U-1", 90, hardness="75")
    again["readings"][0]["expanded"] = "0.2"
    ready.say(again)
    assert "does_not_conform" in {one.outcome for one in ready.book.judged("U-1")}
    ready.say(sold("S-1", "U-1"))


def test_a_line_of_a_file_is_refused_alone(ready: Floor, read: str) -> None:
    """A dry run and the run say the same, and the other lines are entered; the ball twice in a file is refused twice."""
    lines = [[f"S-{n}", "2026-09-26", unit, "A shop"] for n, unit in enumerate(("U-1", "U-2", "U-2"), 1)]
    raw = csv_of(["shipment", "shipped_on", "unit", "consignee"], *lines)
    for told in (dry(ready.book, raw, "shipments"), ran(ready.book, raw, "shipments", ready.lead)):
        assert ["accepted", "refused", "refused"] == [one["outcome"] for one in told]
        assert {("rule-stands", "unit")} == {(one["code"], one["column"]) for one in told[1:]}
    assert ["shipped", "released"] == [ready.book.ball(unit).state for unit in ("U-1", "U-2")]
