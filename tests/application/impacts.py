"""A floor with balls good and bad, in stock and shipped, and a plain loop that judges each before and after."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping

from ledger.application.impact_pass import Change, Where
from ledger.application.judging import grounds_of, judged_rows
from ledger.conformity.column_frame import RANK
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.outcome import Outcome, Verdict, overall
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import judge_ball
from ledger.store.reader import open_reader
from ledger.store.selections import Selected, Selection, select_balls
from tests.application.floor import Floor, at

ODD: tuple[dict[str, str], ...] = (
    {}, {"hardness": "72.5"}, {"hardness": "72.9", "mass": "16.01"}, {"circumference": "26.70"}, {"hardness": "73"},
    {"rg_low": "2.47"}, {"roughness": "55"}, {"top_weight": "3.5"}, {"hardness": "73.4", "rg_high": "2.562"},
)  # fmt: skip

Verdicts = dict[str, list[Verdict]]
"""Unit to its verdicts."""


def stocked(floor: Floor, start: float = 70) -> None:
    """Nine balls, read an hour after each was engraved, one an hour; U-1, U-3 and U-4 left as samples."""
    for number, readings in enumerate(ODD):
        floor.ball(f"U-{number}", f"P-{number}", start + number, readings=readings)
    shipped(floor, "SH-1", "U-1", "U-4")
    shipped(floor, "SH-2", "U-3")


def shipped(floor: Floor, shipment: str, *units: str) -> None:
    """Balls leave, not for sale."""
    said = {"kind": "shipment", "at": at(90), "shipment": shipment, "units": list(units), "purpose": "sample"}
    floor.say({**said, "consignee": "A shop"})


def judged_alone(
    floor: Floor, book: Rulebook, look: Callable[[Selected], list[Verdict]] | None = None
) -> dict[str, list[Verdict]]:
    """Every ball judged by itself, as the book stands or in another way."""
    with open_reader(floor.book.store) as reader:
        selected = select_balls(reader.transaction, Selection())
        grounds = grounds_of(reader, selected)

        def stands(one: Selected) -> list[Verdict]:
            return judge_ball(book, facts_from_rows(judged_rows(one, grounds), book))

        return {one.unit.unit: (look or stands)(one) for one in selected}


def by_quantity(verdicts: list[Verdict]) -> dict[str, Outcome]:
    """The worst verdict on each quantity."""
    found: dict[str, Outcome] = {}
    for one in verdicts:
        known = found.setdefault(one.quantity, one.outcome)
        found[one.quantity] = min(known, one.outcome, key=lambda outcome: RANK[outcome])
    return found


def changed_units(before: Verdicts, after: Verdicts) -> set[str]:
    """The balls of which some quantity comes out otherwise."""
    return {unit for unit in before if _differing(before[unit], after[unit])}


def _differing(before: list[Verdict], after: list[Verdict]) -> set[str]:
    was, now = by_quantity(before), by_quantity(after)
    return {one for one in {*was, *now} if was.get(one, "not_applicable") != now.get(one, "not_applicable")}


def check_change(change: Change, before: Verdicts, after: Verdicts, concerned: tuple[str, ...]) -> None:
    """The counts are those of a plain loop over the balls judged one by one, on the quantities concerned."""
    pairs = Counter(
        tuple(overall(one for one in verdicts if one.quantity in concerned) for verdicts in (before[unit], after[unit]))
        for unit in before
    )
    assert dict(pairs) == nonzero(change.transitions)
    assert len(changed_units(before, after)) == change.changed
    quantities = {one for unit in before for one in _differing(before[unit], after[unit])}
    assert quantities == set(change.quantities)
    assert quantities <= set(concerned)
    for quantity, matrix in change.quantities.items():
        sides = [(by_quantity(before[unit]), by_quantity(after[unit])) for unit in before]
        none = "not_applicable"
        assert dict(Counter((was.get(quantity, none), now.get(quantity, none)) for was, now in sides)) == nonzero(
            matrix
        )


def nonzero(matrix: Mapping[str, Mapping[str, int]]) -> dict[tuple[str, str], int]:
    """The pairs of outcomes that occur."""
    return {(before, after): count for before, row in matrix.items() for after, count in row.items() if count}


def check_where(floor: Floor, where: Where, units: set[str]) -> None:
    """States and shipments are those of the balls looked up one by one."""
    seen = [floor.book.ball(unit) for unit in sorted(units)]
    states = Counter(ball.state for ball in seen)
    away = Counter(journey.shipment for ball in seen for journey in ball.journeys if not journey.back_at)
    assert (dict(states), len(units)) == (where.states, where.balls)
    assert dict(away) == {one.shipment: one.balls for one in where.shipments}
    assert (away.total(), len(units) - away.total() - states["scrapped"]) == (where.shipped, where.in_stock)
