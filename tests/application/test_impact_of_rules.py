"""What changes when the rule does is what one gets by judging each ball both ways."""

from __future__ import annotations

import datetime as dt

import msgspec
import pytest

from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.application.judging import grounds_of, judged_rows
from ledger.conformity.from_rows import approved_on, facts_from_rows
from ledger.conformity.rulebook import Rulebook, shipped_rulebooks
from ledger.conformity.verdict import Verdict, judge_ball, overall
from ledger.errors import MalformedInput, NotFound, TooLarge
from ledger.store.reader import open_reader
from ledger.store.selections import Selected, Selection
from tests.application.floor import Floor, at, engraved
from tests.application.impacts import changed_units, check_change, check_where, judged_alone, stocked

LONG_AGO = dt.date(2018, 5, 1)


@pytest.fixture
def stock(ready: Floor) -> Floor:
    """The nine balls, a tenth never measured, and an eleventh scrapped."""
    stocked(ready)
    ready.say(engraved("U-99", "P-99", 95))
    ready.ball("U-98", "P-98", 96, readings={"hardness": "72"})
    ready.say({"kind": "scrap", "at": at(98), "unit": "U-98", "how": "scrap", "reason": "too-soft"})
    return ready


def book_of(name: str) -> Rulebook:
    """An edition that ships."""
    return shipped_rulebooks()[name].rulebook


def looked_at(floor: Floor, under: Under) -> dict[str, list[Verdict]]:
    """Every ball judged by itself under one side of the question."""
    book = book_of(under.rulebook)
    with open_reader(floor.book.store) as reader:

        def look(one: Selected) -> list[Verdict]:
            rows = judged_rows(one, grounds_of(reader, [one]))
            facts = msgspec.structs.replace(facts_from_rows(rows, book), event_on=under.event_on)
            if under.made_on is not None:
                approved = approved_on(rows.approvals, under.made_on)
                facts = msgspec.structs.replace(facts, made_on=under.made_on, approved_on=approved)
            return judge_ball(book, facts)

        return judged_alone(floor, book, look)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (Under("usbc-2012"), Under("usbc-2026")),
        (Under("usbc-2026"), Under("usbc-2023")),
        (Under("usbc-2026"), Under("pba")),
        (Under("usbc-2026", LONG_AGO), Under("usbc-2026")),
        (Under("usbc-2026"), Under("usbc-2026", LONG_AGO)),
        (Under("usbc-2026"), Under("usbc-2026", event_on=dt.date(2026, 9, 1))),
        (Under("ibf"), Under("usbc-2026", LONG_AGO, dt.date(2026, 9, 1))),
    ],
)
def test_counts_equal_a_plain_loop(stock: Floor, before: Under, after: Under) -> None:
    """Transitions, changed balls, where they are and which are listed are those of each ball judged by itself."""
    with open_reader(stock.book.store) as reader:
        answer = impact_of_rules(reader, Selection(), before, after, listed=100)
    was, now = looked_at(stock, before), looked_at(stock, after)
    changed = changed_units(was, now)
    assert 11 == answer.balls
    check_change(answer.change, was, now, answer.concerned)
    check_where(stock, answer.where, changed)
    assert changed == {one.ball.unit for one in answer.listed}
    for one in answer.listed:
        assert (overall(was[one.ball.unit]), overall(now[one.ball.unit])) == (one.before, one.after)
    assert not answer.more


def test_the_change_of_hardness_catches_the_soft_balls(stock: Floor) -> None:
    """Balls at 72.5 and 72.9 conform on hardness by the edition of 2019, and do not by that of 2026; the margin is told on both sides."""
    with open_reader(stock.book.store) as reader:
        answer = impact_of_rules(reader, Selection(), Under("usbc-2019"), Under("usbc-2026"), listed=100)
    hard = {
        one.ball.unit: change
        for one in answer.listed
        for change in one.changes
        if change.quantity == "hardness" and change.after.outcome == "does_not_conform"
    }
    assert {"U-1", "U-2", "U-98"} == set(hard)
    assert ("72.5", "0.5", ">= 72 Shore D") == (
        hard["U-1"].before.value, hard["U-1"].before.margin, hard["U-1"].before.limit,
    )  # fmt: skip
    assert ("-0.5", ">= 73 Shore D") == (hard["U-1"].after.margin, hard["U-1"].after.limit)
    ball = next(one.ball for one in answer.listed if one.ball.unit == "U-1")
    assert ("P-1", "SL-1", "shipped", "SH-1") == (ball.serial, ball.lot, ball.state, ball.shipment)


def test_a_selection_and_a_short_list(stock: Floor) -> None:
    """Only the balls selected are judged; the list is cut where asked, the worst first, and says that there are more."""
    sides = Under("usbc-2026", LONG_AGO), Under("usbc-2026")
    with open_reader(stock.book.store) as reader:
        shipped = impact_of_rules(reader, Selection(state="shipped"), *sides, listed=100)
        short = impact_of_rules(reader, Selection(), *sides, listed=1)
        whole = impact_of_rules(reader, Selection(), *sides, listed=100)
    assert (3, {"U-1"}) == (shipped.balls, {one.ball.unit for one in shipped.listed if one.after != one.before})
    assert (whole.listed[:1], len(whole.listed) > 1) == (short.listed, short.more)


def test_what_cannot_be_answered_is_refused_with_a_mend(stock: Floor) -> None:
    """An unknown edition, a question in which nothing differs, and too long a list."""
    with open_reader(stock.book.store) as reader:
        with pytest.raises(NotFound):
            impact_of_rules(reader, Selection(), Under("usbc-2026"), Under("usbc-1066"))
        with pytest.raises(MalformedInput) as nothing:
            impact_of_rules(reader, Selection(), Under("usbc-2026"), Under("usbc-2026"))
        with pytest.raises(TooLarge):
            impact_of_rules(reader, Selection(), Under("usbc-2026"), Under("pba"), listed=1_001)
    assert ("against", True) == (nothing.value.where, bool(nothing.value.mend))
