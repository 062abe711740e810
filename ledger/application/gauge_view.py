"""One gauge, for a report: its calibrations, its studies as they are reported, and the budget of what it reads now.

Study values are read from the entry of the study, as they were said and, where they were corrected, as they stand.  The
budget is that by which a reading without a stated U is judged (`ledger.conformity.reading_uncertainty`), taken at the
asked instant: it changes with the next calibration and the next study.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

import msgspec
from msgspec import UNSET

from ledger.application.adopted_files import find_rulebook
from ledger.application.budget_table import BudgetFigures, figures_of
from ledger.application.histories import instant_text
from ledger.application.registers import GaugeSeen, gauge_at
from ledger.conformity import uncertainty
from ledger.conformity.gauge_report import GaugeReport, gauge_lines, report_gauge_study
from ledger.conformity.requirement import Requirement
from ledger.errors import MalformedInput, NotFound
from ledger.line.fact import parse_address
from ledger.line.gauge_studied import GaugeStudied, newest_study
from ledger.line.gauge_study import parse_layout
from ledger.line.gauges import GaugeCalibrated, GaugeChecked, GaugeFaulted, calibration_at
from ledger.line.quantity import SCALE, UNITS, convert, format_number
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.record import Record
from ledger.line.rows import Body
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

READINGS = 5
"""Readings of the second budget where no other number is asked for."""

AS_JUDGED = "a reading whose U is not stated is judged by this u; U here is by Student's t, at the coverage p"
"""Said of every budget of a gauge."""


class GaugeAsked(NamedTuple):
    """What is asked of a gauge. ``readings``: of how many the second budget is.

    ``rulebook`` and ``requirement``, both or none: the two-sided limit whose width the study is held against.
    """

    readings: int = READINGS
    rulebook: str | None = None
    requirement: str | None = None


class CalibrationSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A calibration, a shift check on ``master``, or a fault with its ``reason``; figures in the gauge's unit.

    ``as_found`` and ``as_left``: the bias before and after adjustment.  ``certificate``: SHA-256 of it.  ``in_force``:
    its figures hold for a reading taken at the asked instant.
    """

    fact: str
    at: str
    kind: str
    good: bool
    in_force: bool = False
    due_at: str = ""
    as_found: str = ""
    as_left: str = ""
    expanded: str = ""
    k: str = ""
    certificate: str = ""
    master: str = ""
    reason: str = ""


class StudySeenWhole(msgspec.Struct, frozen=True, kw_only=True):
    """A study as it is reported; ``says`` has it in sentences, with the conventions that it follows."""

    fact: str
    at: str
    unit: str
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    newest: bool
    report: GaugeReport
    says: tuple[str, ...]


class ReadingsBudget(BudgetFigures, frozen=True, kw_only=True):
    """The budget of the mean of so many readings taken at the asked instant, in the gauge's unit."""

    readings: int


class GaugeView(msgspec.Struct, frozen=True, kw_only=True):
    """One gauge. Calibrations and studies oldest first; ``budgets``: of one reading and of several, or why there are none.

    ``says``: what is to be known with the figures, in sentences.
    """

    gauge: GaugeSeen
    at: str
    calibrations: tuple[CalibrationSeen, ...]
    studies: tuple[StudySeenWhole, ...]
    budgets: tuple[ReadingsBudget, ...]
    says: tuple[str, ...]


def gauge_view(reader: Reader, gauge: str, asked: GaugeAsked, at_ms: int) -> GaugeView:
    """One gauge at an instant. Raises NotFound, and MalformedInput for a requirement of another quantity."""
    seen = gauge_at(reader, gauge, at_ms)
    row: Gauge = reader.rows(Gauge, "gauge", gauge)[0]
    calibrations = sorted(reader.rows(Calibration, "gauge", gauge), key=lambda one: _order(one.at_ms, one.calibration))
    studies = sorted(reader.rows(GaugeStudy, "gauge", gauge), key=lambda one: _order(one.at_ms, one.study))
    requirement = _requirement(reader, row, asked)
    records = _records(reader, [*(one.calibration for one in calibrations), *(one.study for one in studies)])
    in_force, newest = calibration_at(calibrations, at_ms), newest_study(studies)
    budgets, why = _budgets(row, in_force, newest, asked.readings)
    return GaugeView(
        gauge=seen,
        at=instant_text(at_ms),
        calibrations=tuple(_calibration(one, records, in_force is one) for one in calibrations),
        studies=tuple(_study(one, records, row, requirement, newest is one) for one in studies),
        budgets=budgets,
        says=(*why, *_tolerance_says(requirement), *_bias_says(row, in_force)),
    )


def _order(at_ms: int, address: str) -> tuple[int, tuple[int, int]]:
    return at_ms, parse_address(address)


def _records(reader: Reader, addresses: Sequence[str]) -> dict[str, Record]:
    return {row.address: row.fact.record for row in rows_with(reader, Body, "address", addresses)}


def _requirement(reader: Reader, gauge: Gauge, asked: GaugeAsked) -> Requirement | None:
    """The requirement asked for; None where none is."""
    if asked.rulebook is None:
        if asked.requirement is not None:
            raise MalformedInput(
                "a requirement is one of a rulebook",
                expected="rulebook",
                got=asked.requirement,
                where="rulebook",
                mend="name the rulebook that has it",
            )
        return None
    found = {one.id: one for one in find_rulebook(reader, asked.rulebook).rulebook.requirements}
    ours = [one.id for one in found.values() if one.quantity == gauge.quantity]
    mend = (
        f"name one of {', '.join(ours)}" if ours else f"{asked.rulebook} has no limit on {gauge.quantity}: leave it out"
    )
    if asked.requirement is None:
        raise MalformedInput("a tolerance needs one requirement", where="requirement", mend=mend)
    requirement = found.get(asked.requirement)
    if requirement is None:
        raise NotFound(
            f"{asked.rulebook} has no such requirement", got=asked.requirement, where="requirement", mend=mend
        )
    if requirement.quantity != gauge.quantity:
        raise MalformedInput(
            f"the requirement is not on what gauge {gauge.gauge} measures",
            expected=gauge.quantity,
            got=requirement.quantity,
            where="requirement",
            mend=mend,
        )
    return requirement


def _tolerance(requirement: Requirement | None, unit: str) -> Fraction | None:
    """Upper less lower limit in a unit; None without two limits."""
    if requirement is None or requirement.low is None or requirement.high is None:
        return None
    return convert(requirement.high - requirement.low, requirement.unit, unit)


def _tolerance_says(requirement: Requirement | None) -> tuple[str, ...]:
    if requirement is None:
        return ()
    said = f"{requirement.id}: {requirement.limit_text} (limit read: {requirement.provenance})"
    if requirement.low is None or requirement.high is None:
        return (f"{said} has one side, and % of tolerance needs two: none is given",)
    return (f"% of tolerance is of the width of {said}",)


def _calibration(row: Calibration, records: dict[str, Record], in_force: bool) -> CalibrationSeen:  # noqa: FBT001  # private
    record = records.get(row.calibration)
    made = row.kind == "calibration"
    return CalibrationSeen(
        fact=row.calibration,
        at=instant_text(row.at_ms),
        kind=row.kind,
        good=row.good,
        in_force=in_force,
        due_at=instant_text(row.due_ms) if made else "",
        as_found=_decimal(row.bias_micro),
        as_left=_decimal(row.left_micro),
        expanded=_decimal(row.expanded_micro),
        k=_decimal(row.k_micro) if row.expanded_micro is not None else "",
        certificate=record.certificate
        if isinstance(record, GaugeCalibrated) and record.certificate is not UNSET
        else "",
        master=record.master if isinstance(record, GaugeChecked) else "",
        reason=record.reason if isinstance(record, GaugeFaulted) else "",
    )


def _study(
    row: GaugeStudy,
    records: dict[str, Record],
    gauge: Gauge,
    requirement: Requirement | None,
    newest: bool,  # noqa: FBT001  # private
) -> StudySeenWhole:
    record: GaugeStudied = records[row.study]  # type: ignore[assignment]  # the view row was folded from it
    report = report_gauge_study(
        parse_layout(record.readings), pool=record.pooled, tolerance=_tolerance(requirement, row.unit)
    )
    return StudySeenWhole(
        fact=row.study,
        at=instant_text(row.at_ms),
        unit=row.unit,
        parts=record.parts,
        operators=record.operators,
        newest=newest,
        report=report,
        says=gauge_lines(report, UNITS[row.unit].printed, places_of(gauge)),
    )


def places_of(gauge: Gauge) -> int:
    """Decimals of a standard deviation in words: two more than the gauge's display has, six at most."""
    _, _, decimals = _decimal(gauge.resolution_micro).partition(".")
    return min(6, len(decimals) + 2)


def _budgets(
    gauge: Gauge, calibration: Calibration | None, study: GaugeStudy | None, readings: int
) -> tuple[tuple[ReadingsBudget, ...], tuple[str, ...]]:
    """The budgets of one reading and of several, and what is to be said of them."""
    if calibration is None or calibration.expanded_micro is None:
        return (), (f"no uncertainty budget: no calibration of {gauge.gauge} states an expanded uncertainty",)
    repeatability = _repeatability(gauge, study)
    said = (
        (AS_JUDGED,)
        if repeatability is not None
        else (AS_JUDGED, "repeatability is not known and left out: u is too small")
    )
    several = [1] if readings == 1 else [1, readings]
    return tuple(_budget(gauge, calibration, repeatability, count) for count in several), said


def _repeatability(gauge: Gauge, study: GaugeStudy | None) -> uncertainty.Repeatability | None:
    if study is not None and study.unit == gauge.unit:
        return uncertainty.Repeatability(
            s=study.repeatability / SCALE, dof=study.repeat_df, how=f"study, fact {study.study}"
        )
    if gauge.repeat_micro is not None:
        return uncertainty.Repeatability(s=gauge.repeat_micro / SCALE, dof=math.inf, how="as registered")
    return None


def _budget(
    gauge: Gauge, calibration: Calibration, repeatability: uncertainty.Repeatability | None, readings: int
) -> ReadingsBudget:
    made = uncertainty.mean_budget(
        [0.0] * readings,  # u does not depend on what is read
        unit=gauge.unit,
        calibration=uncertainty.Calibration(
            U=(calibration.expanded_micro or 0) / SCALE,
            k=calibration.k_micro / SCALE,
            how=f"calibration, fact {calibration.calibration}",
        ),
        resolution=gauge.resolution_micro / SCALE,
        repeatability=repeatability or uncertainty.Repeatability(s=0.0, dof=math.inf),
    )
    if repeatability is None:
        made = msgspec.structs.replace(made, terms=tuple(term for term in made.terms if term.name != "repeatability"))
    return ReadingsBudget(readings=readings, **msgspec.structs.asdict(figures_of(made)))


def _bias_says(gauge: Gauge, calibration: Calibration | None) -> tuple[str, ...]:
    if calibration is None:
        return ()
    stated = (("found", calibration.bias_micro), ("left", calibration.left_micro))
    said = [f"{name} {_decimal(bias)}" for name, bias in stated if bias]
    unit = UNITS[gauge.unit].printed
    return (f"bias {', '.join(said)} {unit} at the calibration in force: never taken off a reading",) if said else ()


def _decimal(millionths: int | None) -> str:
    return "" if millionths is None else format_number(Fraction(millionths, SCALE))
