"""Does a ball weigh what its recipe says: one ball, or the balls of a selection that do not, worst first.

Computed when asked, from the sizes withheld in the model's definition; for the role that may see those. Where the records
allow several lots, each combination is given: a ball agrees when it does by all of them, disagrees when by none.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal, NamedTuple

import msgspec
from msgspec import Meta

from ledger.application.ball_view import selected_ball
from ledger.application.judging import Grounds, grounds_of
from ledger.application.mass_ground import DensityUsed, MassGround, Predicted
from ledger.conformity.estimate import Estimate, estimate
from ledger.conformity.facts import Measured
from ledger.conformity.from_rows import readings_from_row
from ledger.conformity.mass_by_construction import ASSUMPTIONS
from ledger.conformity.mass_model import MassComparison, PredictedMass, compare_mass
from ledger.conformity.uncertainty import in_figures
from ledger.errors import TooLarge
from ledger.line.quantity import format_number
from ledger.line.record import Id
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, select_balls, select_units

LISTED = 100
"""Balls that one answer lists."""

PAGE = 2_048

CAUTION = (
    "a difference can mean a void, a block of another lot or class, or a density or size that is off, and proves none of "
    "them; agreement shows only that nothing is off by more than would show"
)

MassOutcome = Literal["disagrees", "undecided", "agrees", "not_predicted"]


class MassByLots(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One combination of lots, what it should weigh, and how the weighed mass compares; or what is missing for it.

    ``predicted_g`` with ``expanded_g``, its U (95 %); ``comparison``: weighed less predicted.
    """

    block_lot: str
    block_batch: str
    core_lot: str
    core_batch: str
    colours: tuple[str, ...]
    predicted_g: str = ""
    expanded_g: str = ""
    densities: tuple[DensityUsed, ...] = ()
    comparison: MassComparison | None = None
    missing: tuple[str, ...] = ()


class MassCheck(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One ball. ``weighed`` with U (k = 2) in ``unit``; ``missing``: what to record so that it can be predicted."""

    serial: str | None
    ball: str
    lot: str
    outcome: MassOutcome
    weighed: str = ""
    expanded: str = ""
    mass_unit: str = ""
    weighed_from: str = ""
    by_lots: tuple[MassByLots, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ASSUMPTIONS
    caution: str = CAUTION


class Missing(msgspec.Struct, frozen=True, kw_only=True):
    """What is missing, and for how many balls."""

    says: str
    balls: int


class MassChecks(msgspec.Struct, frozen=True, kw_only=True):
    """A selection: counts by outcome, what is missing, and the balls that disagree, worst first.

    Worst: the largest difference, by the combination of lots that explains it best, over its expanded uncertainty.
    ``more``: more balls disagree than are listed.
    """

    balls: int
    counts: dict[str, int]
    worst: tuple[MassCheck, ...]
    more: bool
    missing: tuple[Missing, ...]
    assumptions: tuple[str, ...] = ASSUMPTIONS
    caution: str = CAUTION


class MassChecksAsked(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls: both conditions that are given must hold. ``listed`` of those that disagree come in full."""

    model: Id | None = None
    lot: Id | None = None
    listed: Annotated[int, Meta(ge=0, le=LISTED)] = 20


class _Compared(NamedTuple):
    """How a ball came out; ``excess``: |difference| over U, by the combination that explains it best."""

    outcome: MassOutcome
    excess: float
    missing: tuple[str, ...]


class _Comparer:
    """Compares balls with predictions; U is worked out once for each pair of a prediction and an uncertainty."""

    def __init__(self, reader: Reader) -> None:
        self.ground = MassGround(reader)
        self._expanded: dict[tuple[int, str, int], float] = {}
        self._held: list[PredictedMass] = []

    def compare(self, one: Selected, weighed: Measured | None) -> _Compared:
        found = self.predictions(one)
        missing = (*_weight_missing(weighed), *found.missing, *(why for each in found.each for why in each.missing))
        if weighed is None or _weight_missing(weighed) or not any(each.mass for each in found.each):
            return _Compared("not_predicted", 0.0, tuple(dict.fromkeys(missing)))
        excesses = [self._excess(each.mass, weighed) for each in found.each if each.mass is not None]
        return _Compared(_outcome(found.each, excesses), min(excesses), tuple(dict.fromkeys(missing)))

    def predictions(self, one: Selected) -> _Found:
        each, missing = self.ground.predictions(one.lot, one.unit.weight_class or one.lot.weight_class, one.unit.place)
        return _Found(each, missing)

    def _excess(self, mass: PredictedMass, weighed: Measured) -> float:
        key = id(mass), weighed.unit, weighed.u_scaled or 0
        expanded = self._expanded.get(key)
        if expanded is None:
            self._held.append(mass)  # so that its id stays its own
            expanded = self._expanded[key] = compare_mass(mass, _estimate(weighed)).expanded_g
        gap = abs(_grams(weighed) - mass.total.value)
        return gap / expanded if expanded else float("inf") if gap else 0.0


class _Found(NamedTuple):
    each: tuple[Predicted, ...]
    missing: tuple[str, ...]


def mass_check(reader: Reader, unit: str) -> MassCheck:
    """One ball. Raises NotFound."""
    one = selected_ball(reader, unit)
    return _check(_Comparer(reader), one, _weighed(one, grounds_of(reader, [one])))


def mass_checks(reader: Reader, selection: Selection, *, listed: int = 20) -> MassChecks:
    """The balls of a selection; the worst ``listed`` of those that disagree in full. Raises TooLarge.

    Cost: linear in the balls; memory: one page of them, and what is listed.
    """
    if listed > LISTED:
        raise TooLarge("too many balls for one list", expected=f"at most {LISTED}", got=listed, mend="ask for fewer")
    comparer, counts, missing = _Comparer(reader), Counter[str](), Counter[str]()
    worst: list[tuple[float, str]] = []
    for one, weighed in _every(reader, selection):
        compared = comparer.compare(one, weighed)
        counts[compared.outcome] += 1
        missing.update(compared.missing)
        if compared.outcome == "disagrees":
            # Of two that are equally far off the one with the lesser id comes first.
            worst.append((-compared.excess, one.unit.unit))
            if len(worst) > PAGE:
                worst = heapq.nsmallest(listed, worst)
    worst = heapq.nsmallest(listed, worst)
    found = {one.unit.unit: one for one in select_units(reader.transaction, [unit for _, unit in worst])}
    grounds = grounds_of(reader, list(found.values()))
    return MassChecks(
        balls=counts.total(),
        counts={outcome: counts[outcome] for outcome in ("disagrees", "undecided", "agrees", "not_predicted")},
        worst=tuple(_check(comparer, found[unit], _weighed(found[unit], grounds)) for _, unit in worst),
        more=counts["disagrees"] > len(worst),
        missing=tuple(
            Missing(says=says, balls=balls)
            for says, balls in sorted(missing.items(), key=lambda item: (-item[1], item))
        ),
    )


def _every(reader: Reader, selection: Selection) -> Iterator[tuple[Selected, Measured | None]]:
    left = selection.limit
    while page := select_balls(reader.transaction, selection._replace(limit=min(PAGE, left))):
        grounds = grounds_of(reader, page)
        for one in page:
            yield one, _weighed(one, grounds)
        left -= len(page)
        selection = selection._replace(after=page[-1].unit.unit)


def _weighed(one: Selected, grounds: Grounds) -> Measured | None:
    read = readings_from_row(one.measured, grounds.calibrations, grounds.gauges, grounds.studies, only=("mass",))
    return read.get("mass")


def _check(comparer: _Comparer, one: Selected, weighed: Measured | None) -> MassCheck:
    compared, found = comparer.compare(one, weighed), comparer.predictions(one)
    known = weighed is not None and not _weight_missing(weighed)
    by_lots = [_by_lots(each, _estimate(weighed) if known and weighed is not None else None) for each in found.each]
    figures: dict[str, Any] = {}
    if weighed is not None:
        figures = {"weighed": format_number(weighed.value), "mass_unit": weighed.unit, "weighed_from": weighed.u_from}
        if weighed.u is not None:
            figures["expanded"] = format_number(2 * weighed.u)
    return MassCheck(
        ball=one.unit.unit,
        serial=one.unit.serial,
        lot=one.lot.lot,
        outcome=compared.outcome,
        by_lots=tuple(by_lots),
        missing=(*_weight_missing(weighed), *found.missing),
        notes=_notes(one, found.each),
        **figures,
    )


def _notes(one: Selected, each: Sequence[Predicted]) -> tuple[str, ...]:
    notes = []
    if len(each) > 1:
        notes.append(f"the records allow {len(each)} combinations of lots: each is given, and none is preferred")
    if one.unit.rework is not None:
        notes.append(f"the ball was reworked (fact {one.unit.rework}), which the recipe knows nothing of")
    return tuple(notes)


def _by_lots(one: Predicted, weighed: Estimate | None) -> MassByLots:
    core = one.making.core
    lots = MassByLots(
        block_lot=core.block.lot,
        block_batch=core.block.batch,
        core_lot=core.lot,
        core_batch=core.batch,
        colours=tuple(colour.lot for colour in one.making.colours),
        missing=one.missing,
    )
    if one.mass is None:
        return lots
    total = one.mass.total
    return msgspec.structs.replace(
        lots,
        predicted_g=in_figures(total.value, 6),
        expanded_g=in_figures(total.budget().expanded().U, 3),
        densities=one.densities,
        comparison=None if weighed is None else compare_mass(one.mass, weighed),
    )


def _outcome(each: Sequence[Predicted], excesses: Sequence[float]) -> MassOutcome:
    agreeing = sum(excess <= 1 for excess in excesses)
    if len(excesses) < len(each) or 0 < agreeing < len(excesses):
        return "undecided"
    return "agrees" if agreeing else "disagrees"


def _weight_missing(weighed: Measured | None) -> tuple[str, ...]:
    """What is missing of a ball's weight before it can be compared."""
    if weighed is None:
        return ("the ball has no reading of mass: weigh it (inspection)",)
    if not weighed.usable:
        return (f"the reading of mass is not usable ({weighed.why_unusable}): weigh it again",)
    if weighed.u_scaled is None:
        said = f"the uncertainty of the mass is {weighed.u_from}"
        return (f"{said}: state expanded with the reading, or have {weighed.gauge} calibrated with its U",)
    return ()


def _estimate(weighed: Measured) -> Estimate:
    return estimate("weighed mass", float(weighed.value), float(weighed.u or 0), weighed.unit, how=weighed.u_from)


def _grams(weighed: Measured) -> float:
    return estimate("weighed mass", float(weighed.value), 0.0, weighed.unit).in_unit("g").value
