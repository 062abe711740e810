"""One pass over balls that are judged in several ways at once, and where the balls are that it counts.

The columns are read once, and only those that the limits concerned need.  Each way of looking (`Look`) is a population
with its own rulebook, dates, gauges or lots; one may also take a gauge's bias out of the values that it read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.histories import instant_text
from ledger.application.populations import Population
from ledger.conformity.columns import BallColumns, ColumnJudge, Judged
from ledger.conformity.facts import BallFacts
from ledger.conformity.house import HousePolicy
from ledger.conformity.impact import Matrix, Transitions, bias_shift, by_quantity, read_for, without_bias
from ledger.conformity.outcome import Verdict, house_overall, overall
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import judge_ball
from ledger.errors import TooLarge
from ledger.line.standing_readings import parse_manner
from ledger.store.columns import CHUNK, ReadingColumns, ReadWith, reading_columns, unmeasured_units
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, select_units
from ledger.store.whereabouts import Whereabouts, shipment_rows

LISTED = 1_000
"""Balls that one answer lists."""

SHIPMENTS = 1_000
"""Shipments that one answer names."""

_GONE = frozenset({"scrapped", "destroyed"})


class Bias(NamedTuple):
    """What a gauge added to every value that it read, in millionths of its unit."""

    gauge: str
    quantity: str
    micro: int
    unit: str


class Look(NamedTuple):
    """One way of looking at the balls: by the limits concerned in ``population.rulebook``; listed balls by ``whole``."""

    population: Population
    judge: ColumnJudge
    whole: Rulebook
    policy: HousePolicy | None
    bias: Bias | None

    def verdicts(self, units: Sequence[str]) -> list[list[Verdict]]:
        """Every verdict on some balls under the whole rulebook, in the order asked."""
        facts = _facts_of(self.population, self.bias)(units)
        return [judge_ball(self.whole, one, self.policy) for one in facts]


class Chunk(NamedTuple):
    """Balls in unit order, and how they come out in each way of looking."""

    units: Sequence[str]
    judged: tuple[Judged, ...]


class ShipmentOut(msgspec.Struct, frozen=True, kw_only=True):
    """A shipment and how many of the balls are away in it. ``fact`` says it; the consignee stands sealed in its entry."""

    shipment: str
    balls: int
    at: str
    purpose: str
    fact: str


class Where(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Where balls are: how many in each state; ``in_stock`` are neither away nor ended, ``shipped`` are away.

    The shipments with the most of the balls come first; ``more`` says that there are more than 1,000.
    """

    balls: int
    in_stock: int
    shipped: int
    states: dict[str, int]
    shipments: tuple[ShipmentOut, ...] = ()
    more: bool = False


class WhereCount:
    """Counts where balls are."""

    def __init__(self) -> None:
        """Nothing is counted yet."""
        self._found = Counter[Whereabouts]()

    def take(self, found: Iterable[Whereabouts]) -> None:
        """Count some balls, each by its whereabouts; or add what was counted already."""
        self._found.update(found)

    def merge(self, other: WhereCount) -> None:
        """Add what another one counted."""
        self._found.update(other._found)

    def where(self, reader: Reader) -> Where:
        """What was counted. One query for the shipments."""
        states, away = Counter[str](), Counter[str]()
        for (state, shipment), count in self._found.items():
            states[state] += count
            if shipment is not None:
                away[shipment] += count
        most = sorted(away.items(), key=lambda item: (-item[1], item[0]))[:SHIPMENTS]
        rows = shipment_rows(reader, [shipment for shipment, _ in most])
        balls, shipped = self._found.total(), away.total()
        gone = sum(n for (state, shipment), n in self._found.items() if shipment is None and state in _GONE)
        return Where(
            balls=balls,
            in_stock=balls - shipped - gone,
            shipped=shipped,
            states=dict(sorted(states.items())),
            shipments=tuple(
                ShipmentOut(
                    shipment=shipment,
                    balls=count,
                    at=instant_text(rows[shipment].at_ms),
                    purpose=rows[shipment].purpose,
                    fact=rows[shipment].fact,
                )
                for shipment, count in most
            ),
            more=len(away) > len(most),
        )


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """Counts from before to after by the worst verdict on the limits concerned, and by quantity where one changes.

    ``changed``: balls of which a verdict on some quantity changes.  ``house``: the same counts by the rule of the house,
    absent where none is in force.
    """

    changed: int
    transitions: Matrix
    quantities: dict[str, Matrix]
    house: Matrix | UnsetType = UNSET


class ChangeCount:
    """Adds up how the limits concerned come out before and after."""

    def __init__(self, before: Look, after: Look) -> None:
        """Nothing is counted yet."""
        # No look is kept, so that what was counted can be sent to another process.
        self._books = before.population.rulebook, after.population.rulebook
        self._with_policy = before.policy is not None
        self._quantities = tuple(dict.fromkeys(one.quantity for book in self._books for one in book.requirements))
        self._own, self._house = Transitions(), Transitions()
        self._each = {quantity: Transitions() for quantity in self._quantities}
        self._changed = 0

    def take(self, before: Judged, after: Judged) -> Any:
        """Count a chunk; whether each ball changes, as a mask."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        self._own.take(before.own, after.own)
        self._house.take(before.house, after.house)
        sides = [
            by_quantity(book, judged.each, self._quantities, len(judged.own))
            for book, judged in zip(self._books, (before, after), strict=True)
        ]
        changed = np.zeros(len(before.own), dtype=bool)
        for quantity, transitions in self._each.items():
            transitions.take(sides[0][quantity], sides[1][quantity])
            changed |= sides[0][quantity] != sides[1][quantity]
        self._changed += int(changed.sum())
        return changed

    def add(self, before: Iterable[Verdict], after: Iterable[Verdict]) -> None:
        """Count one ball by its verdicts under the whole rulebooks."""
        wanted = frozenset(self._quantities)
        sides = [[one for one in verdicts if one.quantity in wanted] for verdicts in (before, after)]
        self._own.add(overall(sides[0]), overall(sides[1]))
        houses = [house_overall(side) or "not_applicable" for side in sides]
        self._house.add(houses[0], houses[1])
        changed = False
        for quantity, transitions in self._each.items():
            outcomes = [overall(one for one in side if one.quantity == quantity) for side in sides]
            transitions.add(outcomes[0], outcomes[1])
            changed |= outcomes[0] != outcomes[1]
        self._changed += changed

    def merge(self, other: ChangeCount) -> None:
        """Add what another one counted of other balls, looked at in the same ways."""
        self._own.merge(other._own)
        self._house.merge(other._house)
        for quantity, transitions in self._each.items():
            transitions.merge(other._each[quantity])
        self._changed += other._changed

    @property
    def change(self) -> Change:
        """Everything counted so far."""
        found = {quantity: transitions.matrix for quantity, transitions in self._each.items()}
        return Change(
            changed=self._changed,
            transitions=self._own.matrix,
            quantities={quantity: matrix for quantity, matrix in found.items() if changes_in(matrix)},
            house=self._house.matrix if self._with_policy else UNSET,
        )


def changes_in(matrix: Matrix) -> int:
    """The balls that a matrix counts as changed."""
    return sum(count for before, row in matrix.items() for after, count in row.items() if before != after)


def look(population: Population, whole: Rulebook, policy: HousePolicy | None = None, bias: Bias | None = None) -> Look:
    """A way of looking at a population, whose rulebook has the limits concerned; ``whole`` is the rulebook itself."""
    judge = ColumnJudge(population.rulebook, _facts_of(population, bias), policy=policy, keep_worst=0)
    return Look(population, judge, whole, policy, bias)


def _facts_of(population: Population, bias: Bias | None) -> Callable[[Sequence[str]], list[BallFacts]]:
    if bias is None:
        return population.facts_of
    return lambda units: [without_bias(one, bias.gauge, bias.micro, bias.unit) for one in population.facts_of(units)]


Choose = Callable[[ReadingColumns], Any]
"""Which balls of a chunk are looked at: a mask."""


def judged_chunks(
    reader: Reader,
    selection: Selection,
    looks: Sequence[Look],
    *,
    read_with: ReadWith | None = None,
    choose: Choose | None = None,
) -> Iterator[Chunk]:
    """The balls of a selection that were ever measured, judged in every way."""
    quantities = tuple(dict.fromkeys(name for one in looks for name in read_for(one.population.rulebook)))
    further = tuple(dict.fromkeys(name for one in looks for name in one.population.further))
    for raw in reading_columns(reader, selection, quantities, further=further, read_with=read_with):
        wanted = raw if choose is None else raw.subset(choose(raw))
        if wanted.balls:
            yield Chunk(wanted.units, _judge(looks, wanted))


def never_chunks(
    reader: Reader, selection: Selection, looks: Sequence[Look], measured: int | None = None
) -> Iterator[Chunk]:
    """The balls of a selection that were never measured, beside so many that were where known, judged in every way."""
    never = unmeasured_units(reader, selection, measured)
    for start in range(0, len(never), CHUNK):
        units = never[start : start + CHUNK]
        yield Chunk(units, tuple(_take(one, one.population.never_measured(units)) for one in looks))


def _judge(looks: Sequence[Look], raw: ReadingColumns) -> tuple[Judged, ...]:
    """Each population sorts the balls once, and each look judges them once, wherever it stands twice."""
    sorted_by: dict[int, BallColumns] = {}
    judged: dict[int, Judged] = {}
    for one in looks:
        if id(one) in judged:
            continue
        chunk = sorted_by.get(id(one.population))
        if chunk is None:
            chunk = sorted_by[id(one.population)] = one.population.sort(raw)
        chunk = chunk if one.bias is None else _less_bias(chunk, raw, one.bias)
        judged[id(one)] = _take(one, chunk)
    return tuple(judged[id(one)] for one in looks)


def _take(one: Look, chunk: BallColumns) -> Judged:
    return one.population.take(one.judge, chunk, each=True)


def _less_bias(chunk: BallColumns, raw: ReadingColumns, bias: Bias) -> BallColumns:
    """The same balls with the bias taken out of the values of its quantity that its gauge read."""
    import numpy as np  # noqa: PLC0415  # see `ChangeCount.take`

    if bias.quantity not in chunk.values:
        return chunk
    shift = raw.of_manner((_shift(text, bias) for text in raw.manners), np.int64)
    values = {**chunk.values, bias.quantity: chunk.values[bias.quantity] - shift}
    return chunk._replace(values=values)


def _shift(manner: str, bias: Bias) -> int:
    how = parse_manner(manner).get(bias.quantity)
    if how is None or how.gauge != bias.gauge:
        return 0
    return bias_shift(bias.micro, bias.unit, how.unit, how.statistic)


def selected_in_order(reader: Reader, units: Sequence[str]) -> list[Selected]:
    """These balls in the order asked."""
    found = {one.unit.unit: one for one in select_units(reader.transaction, units)}
    return [found[unit] for unit in units]


def check_listed(listed: int) -> None:
    """That many balls may be listed. Raises TooLarge."""
    if listed > LISTED:
        raise TooLarge("too many balls for one list", expected=f"at most {LISTED}", got=listed, where="listed")


class BallPlace(msgspec.Struct, frozen=True, kw_only=True):
    """One ball: what it is called, what became of it, and the shipment that it is away in."""

    unit: str
    serial: str | None
    lot: str
    state: str
    shipment: str | None


def ball_place(one: Selected) -> BallPlace:
    """A ball's place as it is shown."""
    unit = one.unit
    return BallPlace(unit=unit.unit, serial=unit.serial, lot=unit.lot, state=unit.state, shipment=unit.away)
