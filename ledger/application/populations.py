"""Populations of balls, from the standing views: sorted into situations, and judged by columns.

A situation (see `ledger.conformity.columns`) is here: how each quantity was read, the model and the two classes, how the
surface was finished, and for each gauge between which of its calibrations.  A ball whose readings lie on two sides of a calibration of one of its
gauges, or at temperatures that a method does not allow, is judged by itself.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from ledger.application.judging import Grounds, judged_rows
from ledger.conformity.columns import ALONE, NO_DAY, UNSTATED, BallColumns, ColumnJudge, Judged
from ledger.conformity.facts import BallFacts
from ledger.conformity.from_rows import approved_on, facts_from_rows
from ledger.conformity.house import HousePolicy
from ledger.conformity.rulebook import Rulebook
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.rows import Approval, Lot, Model
from ledger.line.standing_readings import gauges_in
from ledger.store.columns import ReadingColumns, own_finishes, reading_columns, unmeasured_units
from ledger.store.packed_numbers import EMPTY
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, every_row, select_units

if TYPE_CHECKING:
    import numpy as np

    Whole = np.ndarray[Any, np.dtype[np.int64]]

DAY_MS = 86_400_000

UNKNOWN = EMPTY
"""Stands in a column of whole numbers where a row holds nothing."""

ALWAYS = ("mass", "rg_low", "rg_high")
"""Quantities that bear on others: the weighed class, and the two radii that a differential may be taken from."""


FINISHES = (None, "sanded", "polished", "unstated")
"""What a unit's own row may say of its finish."""


class Population:
    """The balls of one selection, as one rulebook looks at them. One pass at a time over one look at the store."""

    def __init__(
        self,
        reader: Reader,
        selection: Selection,
        rulebook: Rulebook,
        *,
        made_on: dt.date | None = None,
        event_on: dt.date | None = None,
        grounds: Grounds | None = None,
        lots: Mapping[str, Lot] | None = None,
    ) -> None:
        """``made_on``: judge every ball as if it had been made on that day. ``event_on``: for an event on that day.

        ``grounds`` and ``lots`` (by id) stand in the place of those of the book: the balls as they would be with them.
        """
        self._reader, self._selection, self.rulebook = reader, selection, rulebook
        self._made_on, self._event_on = made_on, event_on
        self.made_day = None if made_on is None else (made_on - dt.date(1970, 1, 1)).days
        self._grounds = every_ground(reader) if grounds is None else grounds
        self._other_lots = lots or {}
        self._kins: dict[tuple[str | None, int | None, str | None], int] = {}
        shells = [self._lot(row) for row in every_row(reader.transaction, Lot, '"stage" = ?', ("shell",))]
        self._lots = {lot.lot: number for number, lot in enumerate(shells)}
        # What of a lot decides, by its number: a number for its model, class and finish, and when it was poured.
        self._kin_of = _whole([self._kins.setdefault(_kin(lot), len(self._kins)) for lot in shells])
        self._poured_ms = _whole([lot.began_ms for lot in shells])
        self._approval_days = {model: _days(rows) for model, rows in self._grounds.approvals.items()}
        self._kin_models = [model for model, _, _ in self._kins]
        self._by_finish = any(requirement.scope.finish != "any" for requirement in rulebook.requirements)
        self._manners: dict[str, int] = {}
        self._bounds: list[Whole] = []
        self._situations: dict[tuple[int, ...], int] = {}
        self._models: list[str | None] = []
        self._inside = _method_temperatures(rulebook)
        self.quantities = tuple(
            dict.fromkeys([*ALWAYS, *(requirement.quantity for requirement in rulebook.requirements)])
        )
        # What is judged over a lot or a model needs no reading of a ball.
        of_balls = [one.quantity for one in rulebook.requirements if one.per == "ball"]
        self.read = tuple(dict.fromkeys([*ALWAYS, *of_balls]))

    @property
    def further(self) -> tuple[str, ...]:
        """The columns beside values that a ball is sorted by."""
        dated = {"pour": (), "turning": ("began_ms",)}.get(self.rulebook.made_event, ("dated_ms",))
        read = ("first_ms", "last_ms", *(() if self._inside is None else ("coldest", "warmest")))
        return read if self.made_day is not None else (*dated, *read)

    def facts_of(self, units: Sequence[str]) -> list[BallFacts]:
        """What is known of balls, by their unit ids and in that order."""
        found = {one.unit.unit: one for one in select_units(self._reader.transaction, units)}
        return [self._facts(found[unit]) for unit in units]

    def _lot(self, row: Lot) -> Lot:
        return self._other_lots.get(row.lot, row)

    def _facts(self, one: Selected) -> BallFacts:
        one = one._replace(lot=self._lot(one.lot))
        facts = facts_from_rows(judged_rows(one, self._grounds), self.rulebook)
        if self._made_on is not None:
            approved = approved_on(self._grounds.approvals.get(one.lot.model or "", ()), self._made_on)
            facts = msgspec.structs.replace(facts, made_on=self._made_on, approved_on=approved)
        return facts if self._event_on is None else msgspec.structs.replace(facts, event_on=self._event_on)

    def approval_days(self, situation: int) -> Sequence[int]:
        """Days on which an approval of a situation's model begins."""
        return self._approval_days.get(self._models[situation] or "", ()) if situation >= 0 else ()

    def columns(self) -> Iterator[BallColumns]:
        """The balls in chunks, in unit order; those that were never measured last."""
        measured = 0
        for chunk in self.measured():
            measured += len(chunk.units)
            yield chunk
        never = self.never(measured)
        if never is not None:
            yield never

    def measured(self, selection: Selection | None = None) -> Iterator[BallColumns]:
        """The balls that were ever measured; of a part of the selection, where one is given."""
        for raw in reading_columns(self._reader, selection or self._selection, self.read, further=self.further):
            yield self.sort(raw)

    def never(self, measured: int) -> BallColumns | None:
        """The balls that were never measured, beside so many that were; None where there are none."""
        units = unmeasured_units(self._reader, self._selection, measured)
        return self.never_measured(units) if units else None

    def judge(self, policy: HousePolicy | None = None, *, keep_worst: int = 5) -> ColumnJudge:
        """A judge of this population; give it each chunk of `columns`."""
        return ColumnJudge(self.rulebook, self.facts_of, policy=policy, keep_worst=keep_worst)

    def take(self, judge: ColumnJudge, chunk: BallColumns, *, each: bool = False) -> Judged:
        """Judge one chunk."""
        return judge.take(chunk, self.approval_days, each=each)

    def sort(self, raw: ReadingColumns) -> BallColumns:
        """A chunk of readings, sorted into situations; it may lack quantities that no ball has."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        blank = np.full(raw.balls, UNKNOWN, dtype=np.int64)
        unstated = np.full(raw.balls, UNSTATED, dtype=np.int64)
        stated = {name: raw.numbers.get(f"{name}_u") for name in self.quantities}
        lots = np.fromiter(map(self._lots.__getitem__, raw.lots), np.int64, raw.balls)
        return BallColumns(
            units=raw.units,
            situation=self._situation(raw, self._kin_of[lots]),
            made_day=self._made_day(raw.numbers, lots),
            values={name: raw.numbers.get(name, blank) for name in self.quantities},
            stated={
                name: unstated if cells is None else np.where(cells == UNKNOWN, UNSTATED, cells)
                for name, cells in stated.items()
            },
        )

    def _situation(self, raw: ReadingColumns, kins: Whole) -> Whole:
        """The situation of each ball: how it was read, its model and classes, and where between calibrations."""
        import numpy as np  # noqa: PLC0415  # see `sort`

        numbers = raw.numbers
        manners = raw.of_manner(map(self._manner, raw.manners), np.int64)
        between, alone = np.zeros(raw.balls, dtype=np.int64), self._outside(numbers, raw.balls)
        for manner in np.unique(manners).tolist():
            at = np.nonzero(manners == manner)[0]
            bounds = self._bounds[manner]
            first, last = (_between(bounds, _of(numbers, name, raw.balls)[at]) for name in ("first_ms", "last_ms"))
            between[at] = first
            alone[at] |= first != last
        if self.rulebook.made_event == "release":
            alone[:] = True
        classes = _of(numbers, "weight_class", raw.balls)
        codes = self._codes((manners, kins, classes, between, self._own_finish(raw.units)))
        return np.where(alone, ALONE, codes)

    def _own_finish(self, units: Sequence[str]) -> Whole:
        """A number for how each ball was finished apart from its lot, where a limit asks for it."""
        import numpy as np  # noqa: PLC0415  # see `sort`

        if not self._by_finish:
            return np.zeros(len(units), dtype=np.int64)
        found = own_finishes(self._reader, units)
        return np.fromiter((FINISHES.index(found.get(unit)) for unit in units), np.int64, len(units))

    def _codes(self, keys: tuple[Whole, ...]) -> Whole:
        """The number of the situation that each ball's key has; few keys occur in a chunk."""
        import numpy as np  # noqa: PLC0415  # see `sort`

        joined, first = np.zeros(len(keys[0]), dtype=np.int64), np.zeros(1, dtype=np.int64)
        for key in keys:
            if (key == key[0]).all():
                continue
            values, places = np.unique(key, return_inverse=True)
            # Numbered anew each time, so that the product stays small.
            _, first, joined = np.unique(joined * len(values) + places, return_index=True, return_inverse=True)
        codes = [self._code(tuple(int(key[place]) for key in keys)) for place in first.tolist()]
        found: Whole = np.array(codes, dtype=np.int64)[joined]
        return found

    def _code(self, key: tuple[int, ...]) -> int:
        code = self._situations.get(key)
        if code is None:
            code = self._situations[key] = len(self._situations)
            self._models.append(self._kin_models[key[1]])
        return code

    def _manner(self, text: str) -> int:
        number = self._manners.get(text)
        if number is None:
            number = self._manners[text] = len(self._manners)
            self._bounds.append(_bounds(text, self._grounds.calibrations))
        return number

    def _outside(self, numbers: Mapping[str, Whole], balls: int) -> Any:
        """Whether a reading was taken at a temperature that some method does not allow."""
        import numpy as np  # noqa: PLC0415  # see `sort`

        if self._inside is None:
            return np.zeros(balls, dtype=bool)
        low, high = self._inside
        coldest, warmest = (_of(numbers, name, balls) for name in ("coldest", "warmest"))
        return (coldest != UNKNOWN) & ((coldest < low) | (warmest > high))

    def _made_day(self, numbers: Mapping[str, Whole], lots: Whole) -> Whole:
        import numpy as np  # noqa: PLC0415  # see `sort`

        if self.made_day is not None:
            return np.full(len(lots), self.made_day, dtype=np.int64)
        if self.rulebook.made_event == "pour":
            at = self._poured_ms[lots]
        elif self.rulebook.made_event == "turning":
            at = _of(numbers, "began_ms", len(lots))
        else:
            at = _of(numbers, "dated_ms", len(lots))
        return np.floor_divide(at, DAY_MS)

    def never_measured(self, units: list[str]) -> BallColumns:
        """A chunk of balls that nothing was ever read of."""
        import numpy as np  # noqa: PLC0415  # see `sort`

        blank = np.full(len(units), UNSTATED, dtype=np.int64)
        same = dict.fromkeys(self.quantities, blank)
        return BallColumns(units, np.full(len(units), ALONE), np.full(len(units), NO_DAY), same, same)


def _kin(lot: Lot) -> tuple[str | None, int | None, str | None]:
    return lot.model, lot.weight_class, lot.finish


def _of(numbers: Mapping[str, Whole], name: str, balls: int) -> Whole:
    """A column of a chunk, or as many empty cells."""
    import numpy as np  # noqa: PLC0415  # see `Population`

    found = numbers.get(name)
    return np.full(balls, UNKNOWN, dtype=np.int64) if found is None else found


def _whole(cells: Sequence[int]) -> Whole:
    import numpy as np  # noqa: PLC0415  # see `Population`

    return np.array(cells, dtype=np.int64)


def every_ground(reader: Reader) -> Grounds:
    """What any ball is judged with: models, approvals, gauges; of these a plant has few."""
    transaction = reader.transaction
    approvals: dict[str, list[Approval]] = {}
    for approval in every_row(transaction, Approval):
        approvals.setdefault(approval.model, []).append(approval)
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in every_row(transaction, Calibration):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    studies: dict[str, list[GaugeStudy]] = {}
    for study in every_row(transaction, GaugeStudy):
        studies.setdefault(study.gauge, []).append(study)
    return Grounds(
        {model.model: model for model in every_row(transaction, Model)},
        approvals,
        calibrations,
        {},
        {gauge.gauge: gauge for gauge in every_row(transaction, Gauge)},
        studies,
    )


def _days(approvals: Iterable[Approval]) -> tuple[int, ...]:
    epoch = dt.date(1970, 1, 1)
    return tuple(sorted({(dt.date.fromisoformat(row.from_on) - epoch).days for row in approvals}))


def _method_temperatures(rulebook: Rulebook) -> tuple[float, float] | None:
    """The temperatures, in thousandths of a degree C, that every method of a rulebook allows; None where none asks."""
    asked = [one.method.temperature_c for one in rulebook.requirements if one.method.temperature_c is not None]
    if not asked:
        return None
    return max(float(low) for low, _ in asked) * 1000, min(float(high) for _, high in asked) * 1000


def _bounds(manner: str, calibrations: Mapping[str, Sequence[Calibration]]) -> Whole:
    """Instants at which the standing of a gauge, or its uncertainty, may change for readings taken in this manner."""
    import numpy as np  # noqa: PLC0415  # see `Population`

    rows = [row for gauge in gauges_in(manner) for row in calibrations.get(gauge, ())]
    return np.array(sorted({at for row in rows for at in (row.at_ms, row.due_ms)}), dtype=np.int64)


def _between(bounds: Whole, at: Whole) -> Whole:
    """The number of the stretch between bounds in which each instant lies; an instant on a bound is a stretch of its own."""
    import numpy as np  # noqa: PLC0415  # see `Population`

    if not len(bounds):
        return np.zeros(len(at), dtype=np.int64)
    place = np.searchsorted(bounds, at, side="left")
    stretch: Whole = 2 * place + (bounds[np.minimum(place, len(bounds) - 1)] == at)
    return stretch
