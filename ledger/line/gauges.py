"""Gauges: registered, calibrated, shift-checked on a master, found faulty; and whether a reading of one may be used.

Words as in the VIM (JCGM 200): a calibration is good when the gauge was found in tolerance (*as found*).  The bias that
a certificate states is kept and said beside a reading, and never taken off one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from math import inf
from typing import Annotated, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedRecord, UnknownSubject
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.quantity import SCALE, UNITS, check_unit, format_number
from ledger.line.reading_rows import Calibration, Gauge
from ledger.line.record import At, DecimalText, Digest, Id, Record, Slug
from ledger.line.state import Need, State

_LARGEST_K = 10
"""Common practice, no source: catches a typing error."""

UnitText = Annotated[str, Meta(min_length=1, max_length=12, description="unit as in `quantity`")]


class GaugeRegistered(Record, frozen=True, kw_only=True, tag="gauge-registered"):
    """A gauge for one quantity, its unit and resolution.

    ``low`` and ``high``: the range that it measures in, both included.  ``definition``: which of the things of the
    quantity's name it measures.  ``repeatability``: standard deviation of one reading, until a study says better.
    All in the gauge's unit.
    """

    gauge: Id
    quantity: Slug
    unit: UnitText
    resolution: DecimalText
    low: DecimalText | UnsetType = UNSET
    high: DecimalText | UnsetType = UNSET
    definition: Slug | UnsetType = UNSET
    repeatability: DecimalText | UnsetType = UNSET


class GaugeCalibrated(Record, frozen=True, kw_only=True, tag="gauge-calibrated"):
    """A calibration: whether it was found good, when it is due again, its expanded uncertainty and certificate.

    ``k``: coverage factor of ``expanded``, 2 where it is not stated.  ``as_found`` and ``as_left``: the bias before and
    after the gauge was put right.  ``bias`` is an older name of ``as_found``, which is preferred; both must agree.
    The gauge leaves it in order, put right where it was found wrong; one that could not be is reported faulty.
    """

    gauge: Id
    as_found_good: bool
    due_at: At
    expanded: DecimalText | UnsetType = UNSET
    bias: DecimalText | UnsetType = UNSET
    certificate: Digest | UnsetType = UNSET
    as_found: DecimalText | UnsetType = UNSET
    as_left: DecimalText | UnsetType = UNSET
    k: DecimalText | UnsetType = UNSET


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


def calibration_at(calibrations: Iterable[Calibration], at_ms: int) -> Calibration | None:
    """The calibration whose figures hold for a reading of an instant: the last up to it, else the first after it.

    Whether the reading may be used at all is another question: `standing_at`.
    """
    before, after = None, None
    for row in _in_order(calibrations):
        if row.kind == "calibration" and row.at_ms <= at_ms:
            before = row
        elif row.kind == "calibration" and after is None:
            after = row
    return before or after


def check_shows(gauge: Gauge, unit: str, *, where: str) -> None:
    """The gauge shows its values in that unit. Raises Contradiction."""
    if unit != gauge.unit:
        raise Contradiction(
            f"gauge {gauge.gauge} shows another unit",
            expected=UNITS[gauge.unit].printed,
            got=unit,
            where=where,
            mend="send the value as the gauge shows it, in its own unit; no reading is converted",
        )


def check_range(gauge: Gauge, values: Sequence[int], *, where: str) -> None:
    """These values, in millionths of the gauge's unit, lie in its range. Raises Contradiction."""
    low, high = gauge.low_micro, gauge.high_micro
    for value in values if low is not None or high is not None else ():
        if (low is not None and value < low) or (high is not None and value > high):
            raise Contradiction(
                f"the value lies outside the range that gauge {gauge.gauge} measures in",
                expected=_range_text(gauge),
                got=f"{format_number(Fraction(value, SCALE))} {UNITS[gauge.unit].printed}",
                where=where,
                mend="check the value for a typing error, or read it with a gauge whose range covers it",
            )


def _range_text(gauge: Gauge) -> str:
    low, high = (
        None if end is None else format_number(Fraction(end, SCALE)) for end in (gauge.low_micro, gauge.high_micro)
    )
    said = f"at most {high}" if low is None else f"at least {low}" if high is None else f"{low} to {high}"
    return f"{said} {UNITS[gauge.unit].printed}"


def _registered_check(record: GaugeRegistered, state: State, _setting: Setting) -> list[Breach]:
    standing = state.one(Gauge, record.gauge)
    if standing is not None:
        raise Contradiction(
            f"gauge {record.gauge} is registered already, by fact {standing.address}",
            where="gauge",
            mend="use a new id",
        )
    check_unit(record.quantity, record.unit)
    _refuse_negative(scaled(record.resolution, 6), record.resolution, "resolution")
    low, high, repeatability = (_millionths(text) for text in (record.low, record.high, record.repeatability))
    _refuse_negative(repeatability, record.repeatability, "repeatability")
    if low is not None and high is not None and low >= high:
        raise MalformedRecord(
            "the range of a gauge ends before it begins",
            expected=f"more than {record.low}",
            got=record.high,
            where="high",
            mend="swap low and high, or leave out the one that the gauge does not have",
        )
    return []


def _millionths(text: str | UnsetType) -> int | None:
    """Decimal text in millionths, None where it was not stated. Raises MalformedDecimal for more than six places."""
    return None if text is UNSET else scaled(text, 6)


def _refuse_negative(value: int | None, text: str | UnsetType, where: str) -> None:
    if value is not None and value < 0:
        raise MalformedRecord(
            f"{where} is not negative", expected="0 or more", got=text, where=where, mend="send it without its sign"
        )


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
            low_micro=_millionths(record.low),
            high_micro=_millionths(record.high),
            definition=None if record.definition is UNSET else record.definition,
            repeat_micro=_millionths(record.repeatability),
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
        _check_budget(record)
    return []


def _check_budget(record: GaugeCalibrated) -> None:
    _refuse_negative(_millionths(record.expanded), record.expanded, "expanded")
    found, older, _ = (_millionths(text) for text in (record.as_found, record.bias, record.as_left))
    if found is not None and older is not None and found != older:
        raise MalformedRecord(
            "bias and as_found say different things",
            expected=record.as_found,
            got=record.bias,
            where="bias",
            mend="state the bias as found once, as as_found; what was left after adjustment is as_left",
        )
    if record.k is not UNSET and not SCALE <= scaled(record.k, 6) <= _LARGEST_K * SCALE:
        raise MalformedRecord(
            "the coverage factor is out of range",
            expected=f"1 to {_LARGEST_K}",
            got=record.k,
            where="k",
            mend="send the k that the certificate states, usually 2",
        )


def _calibrated_effects(fact: Fact, state: State) -> None:
    record: GaugeCalibrated = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _enter(fact, state, record.gauge, kind="calibration", good=record.as_found_good, due_ms=instant_ms(record.due_at))
    row = state.held(Calibration, fact.address)
    if row is not None:
        figures = {
            "expanded_micro": _millionths(record.expanded),
            "bias_micro": _millionths(record.bias if record.as_found is UNSET else record.as_found),
            "left_micro": _millionths(record.as_left),
            "k_micro": 2 * SCALE if record.k is UNSET else scaled(record.k, 6),
        }
        state.put(msgspec.structs.replace(row, **figures))
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
