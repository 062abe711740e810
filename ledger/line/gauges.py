"""Gauges: registered, calibrated, shift-checked on a master, found faulty; and whether a reading of one may be used.

Words as in the VIM (JCGM 200): a calibration is good when the gauge was found in tolerance (*as found*).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from math import inf
from typing import Annotated, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, UnknownSubject
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.quantity import check_unit
from ledger.line.record import At, DecimalText, Digest, Id, Record, Slug
from ledger.line.rows import Calibration, Gauge
from ledger.line.state import Need, State

UnitText = Annotated[str, Meta(min_length=1, max_length=12, description="unit as in `quantity`")]


class GaugeRegistered(Record, frozen=True, kw_only=True, tag="gauge-registered"):
    """A gauge for one quantity, its unit and resolution."""

    gauge: Id
    quantity: Slug
    unit: UnitText
    resolution: DecimalText


class GaugeCalibrated(Record, frozen=True, kw_only=True, tag="gauge-calibrated"):
    """A calibration: whether it was found good, when it is due again, its expanded uncertainty (k = 2) and certificate.

    The gauge leaves it in order, put right where it was found wrong; one that could not be is reported faulty.
    """

    gauge: Id
    as_found_good: bool
    due_at: At
    expanded: DecimalText | UnsetType = UNSET
    bias: DecimalText | UnsetType = UNSET
    certificate: Digest | UnsetType = UNSET


class GaugeChecked(Record, frozen=True, kw_only=True, tag="gauge-checked"):
    """A shift check on a master piece."""

    gauge: Id
    master: Id
    good: bool


class GaugeFaulted(Record, frozen=True, kw_only=True, tag="gauge-faulted"):
    """The gauge was found faulty: nothing it read since its last good calibration may be used."""

    gauge: Id
    reason: Slug


class Standing(NamedTuple):
    """Whether a gauge's reading of an instant may be used, and why not."""

    usable: bool
    why: str
    fact: str


# A plant has few gauges, and every reading names one.
@lru_cache(maxsize=1024)
def gauge_needs(gauge: str) -> tuple[Need, Need]:
    """What `known_gauge` and `standing_at` read."""
    return Need(Gauge, "gauge", gauge), Need(Calibration, "gauge", gauge)


def known_gauge(state: State, gauge: str, *, where: str) -> Gauge:
    """The gauge of this id. Raises UnknownSubject."""
    row = state.one(Gauge, gauge)
    if row is None:
        raise UnknownSubject(
            f"gauge {gauge} is not in the book",
            where=where,
            mend="register the gauge (gauge-registered), or correct the id",
        )
    return row


def standing_of(state: State, gauge: str, at_ms: int) -> Standing:
    """`standing_at` for a gauge whose calibrations are loaded; it is kept for the readings of about the same time."""
    memo = state.memo(Calibration)
    known: tuple[float, float, Standing] | None = memo.get(gauge)
    if known is None or not known[0] <= at_ms < known[1]:
        calibrations = state.where(Calibration, "gauge", gauge)
        known = memo[gauge] = (*_unchanged_around(calibrations, at_ms), standing_at(calibrations, at_ms))
    return known[2]


def _unchanged_around(calibrations: Iterable[Calibration], at_ms: int) -> tuple[float, float]:
    """The instants from which and before which `standing_at` is what it is at ``at_ms``."""
    turns = [instant for row in calibrations for instant in (row.at_ms, row.due_ms + 1)]
    before = max((turn for turn in turns if turn <= at_ms), default=-inf)
    return before, min((turn for turn in turns if turn > at_ms), default=inf)


def standing_at(calibrations: Iterable[Calibration], at_ms: int) -> Standing:
    """Whether a reading taken at an instant may be used, as far as these calibrations tell.

    In date at the instant: usable, unless the next calibration found the gauge wrong.  Overdue, never calibrated or
    failed on the master: unusable until the next calibration finds it good.  After a fault: unusable until calibrated.
    """
    return _standing(_in_order(calibrations), at_ms)


def _in_order(calibrations: Iterable[Calibration]) -> list[Calibration]:
    """By their instants; what was said later about one instant comes after."""
    return sorted(calibrations, key=lambda row: (row.at_ms, parse_address(row.calibration)))


def _standing(calibrations: Iterable[Calibration], at_ms: int) -> Standing:
    before, after = None, None
    for row in calibrations:
        if row.at_ms <= at_ms and (row.kind != "check" or not row.good):
            before = row
        elif row.at_ms > at_ms and after is None and (row.kind != "check" or not row.good):
            after = row
    if after is not None and not after.good:
        return Standing(usable=False, why="the gauge was found wrong afterwards", fact=after.calibration)
    if before is not None and not before.good and before.kind != "calibration":
        good_after = after is not None and before.kind == "check"
        why = "the gauge had been found wrong and was not calibrated since"
        return Standing(usable=good_after, why="" if good_after else why, fact=before.calibration)
    if before is not None and at_ms <= before.due_ms:
        return Standing(usable=True, why="", fact=before.calibration)
    if after is not None:
        return Standing(usable=True, why="", fact=after.calibration)
    why = "the gauge was never calibrated" if before is None else "the gauge was past its due date"
    return Standing(usable=False, why=why, fact="" if before is None else before.calibration)


def _registered_check(record: GaugeRegistered, state: State, _setting: Setting) -> list[Breach]:
    standing = state.one(Gauge, record.gauge)
    if standing is not None:
        raise Contradiction(
            f"gauge {record.gauge} is registered already, by fact {standing.address}",
            where="gauge",
            mend="use a new id",
        )
    check_unit(record.quantity, record.unit)
    scaled(record.resolution, 6)
    return []


def _registered_effects(fact: Fact, state: State) -> None:
    record: GaugeRegistered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Gauge(
            gauge=record.gauge,
            quantity=record.quantity,
            unit=record.unit,
            resolution_micro=scaled(record.resolution, 6),
            state="registered",
            address=fact.address,
        )
    )


def _known_check(
    record: GaugeCalibrated | GaugeChecked | GaugeFaulted, state: State, _setting: Setting
) -> list[Breach]:
    known_gauge(state, record.gauge, where="gauge")
    if isinstance(record, GaugeCalibrated) and instant_ms(record.due_at) <= instant_ms(record.at):
        raise Contradiction(
            "a calibration is due after it was made",
            expected=f"after {record.at}",
            got=record.due_at,
            where="due_at",
            mend="correct the due date",
        )
    if isinstance(record, GaugeCalibrated):
        _budget(record)
    return []


def _budget(record: GaugeCalibrated) -> tuple[int | None, int | None]:
    """Expanded uncertainty and bias in millionths. Raises MalformedDecimal for more than six places."""
    expanded = None if record.expanded is UNSET else scaled(record.expanded, 6)
    return expanded, None if record.bias is UNSET else scaled(record.bias, 6)


def _calibrated_effects(fact: Fact, state: State) -> None:
    record: GaugeCalibrated = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _enter(fact, state, record.gauge, kind="calibration", good=record.as_found_good, due_ms=instant_ms(record.due_at))
    row = state.held(Calibration, fact.address)
    if row is not None:
        expanded, bias = _budget(record)
        state.put(msgspec.structs.replace(row, expanded_micro=expanded, bias_micro=bias))
    state.alter(Gauge, record.gauge, state="calibrated")


def _checked_effects(fact: Fact, state: State) -> None:
    record: GaugeChecked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _enter(fact, state, record.gauge, kind="check", good=record.good, due_ms=fact.at_ms)


def _faulted_effects(fact: Fact, state: State) -> None:
    record: GaugeFaulted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _enter(fact, state, record.gauge, kind="fault", good=False, due_ms=fact.at_ms)
    state.alter(Gauge, record.gauge, state="faulty")


def _enter(fact: Fact, state: State, gauge: str, *, kind: str, good: bool, due_ms: int) -> None:  # a row
    row = Calibration(
        calibration=fact.address,
        gauge=gauge,
        at_ms=fact.at_ms,
        due_ms=due_ms,
        good=good,
        expanded_micro=None,
        bias_micro=None,
        kind=kind,
    )
    state.put(row)


def _needs(record: GaugeRegistered | GaugeCalibrated | GaugeChecked | GaugeFaulted, _state: State) -> Iterable[Need]:
    return gauge_needs(record.gauge)


def _about(record: GaugeRegistered | GaugeCalibrated | GaugeChecked | GaugeFaulted) -> Iterable[str]:
    return [f"gauge:{record.gauge}"]


KINDS = (
    Kind(GaugeRegistered, "decision", _needs, _registered_check, _registered_effects, _about),
    Kind(GaugeCalibrated, "report", _needs, _known_check, _calibrated_effects, _about),
    Kind(GaugeChecked, "report", _needs, _known_check, _checked_effects, _about),
    Kind(GaugeFaulted, "report", _needs, _known_check, _faulted_effects, _about),
)
