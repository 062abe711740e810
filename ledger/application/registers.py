"""The plant's registers: gauges with their standing now, models with their plan and approvals."""

from __future__ import annotations

from fractions import Fraction

import msgspec

from ledger.application.histories import instant_text
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.line.gauge_studied import newest_study
from ledger.line.gauges import standing_at
from ledger.line.process_plan import INSPECTS, WINDOWS, Inspect, Window
from ledger.line.quantity import SCALE, format_number
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.rows import Approval, Model, Plan
from ledger.store.reader import Reader
from ledger.store.selections import every_row


class StudySeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A gauge study: standard deviations as decimal text in ``unit``."""

    fact: str
    at: str
    unit: str
    repeatability: str
    reproducibility: str
    grr: str
    part_variation: str
    operators: int
    trials: int
    parts: int
    pooled: bool


class GaugeSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A gauge, and whether a reading taken at the asked instant may be used. Figures are decimal text in its unit.

    ``expanded`` with ``k``, ``bias_found`` and ``bias_left`` are those of the latest calibration up to then;
    ``repeatability`` is that of the newest study, else as registered; ``studies`` are all of them, oldest first.
    """

    gauge: str
    quantity: str
    unit: str
    state: str
    usable: bool
    why: str = ""
    due_at: str = ""
    calibrations: int = 0
    resolution: str = ""
    low: str = ""
    high: str = ""
    definition: str = ""
    repeatability: str = ""
    expanded: str = ""
    k: str = ""
    bias_found: str = ""
    bias_left: str = ""
    studies: tuple[StudySeen, ...] = ()


class ModelSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A model, the plan in force at the asked instant, and what bodies answered about it."""

    model: str
    name: str
    brand: str
    gtin: str
    revision: int
    core: str
    plan: str = ""
    windows: tuple[Window, ...] = ()
    inspect: tuple[Inspect, ...] = ()
    rulebooks: tuple[str, ...] = ()
    approvals: tuple[Approval, ...] = ()


def gauges_at(reader: Reader, at_ms: int) -> tuple[GaugeSeen, ...]:
    """Every gauge by id, with its standing at an instant."""
    found: dict[str, list[Calibration]] = {}
    for row in every_row(reader.transaction, Calibration):
        found.setdefault(row.gauge, []).append(row)
    studies: dict[str, list[GaugeStudy]] = {}
    for study in every_row(reader.transaction, GaugeStudy):
        studies.setdefault(study.gauge, []).append(study)
    return tuple(
        _gauge_seen(gauge, found.get(gauge.gauge, []), studies.get(gauge.gauge, []), at_ms)
        for gauge in every_row(reader.transaction, Gauge)
    )


def gauge_at(reader: Reader, gauge: str, at_ms: int) -> GaugeSeen:
    """One gauge with its standing at an instant. Raises NotFound."""
    row = reader.one(Gauge, gauge)
    if row is None:
        raise NotFound(f"gauge {gauge} is not in the book", where="gauge", mend="GET /gauges lists those that are")
    calibrations, studies = reader.rows(Calibration, "gauge", gauge), reader.rows(GaugeStudy, "gauge", gauge)
    return _gauge_seen(row, calibrations, studies, at_ms)


def _gauge_seen(gauge: Gauge, calibrations: list[Calibration], studies: list[GaugeStudy], at_ms: int) -> GaugeSeen:
    standing = standing_at(calibrations, at_ms)
    made = [row for row in calibrations if row.kind == "calibration" and row.at_ms <= at_ms]
    newest = newest_study(studies)
    latest = max(made, key=lambda row: (row.at_ms, parse_address(row.calibration)), default=None)
    return GaugeSeen(
        gauge=gauge.gauge,
        quantity=gauge.quantity,
        unit=gauge.unit,
        state=gauge.state,
        usable=standing.usable,
        why=standing.why,
        due_at="" if latest is None else instant_text(latest.due_ms),
        calibrations=sum(row.kind == "calibration" for row in calibrations),
        resolution=_decimal(gauge.resolution_micro),
        low=_decimal(gauge.low_micro),
        high=_decimal(gauge.high_micro),
        definition=gauge.definition or "",
        repeatability=_decimal(gauge.repeat_micro if newest is None else newest.repeatability),
        expanded="" if latest is None else _decimal(latest.expanded_micro),
        k="" if latest is None or latest.expanded_micro is None else _decimal(latest.k_micro),
        bias_found="" if latest is None else _decimal(latest.bias_micro),
        bias_left="" if latest is None else _decimal(latest.left_micro),
        studies=tuple(map(_study_seen, sorted(studies, key=lambda row: (row.at_ms, parse_address(row.study))))),
    )


def _study_seen(study: GaugeStudy) -> StudySeen:
    return StudySeen(
        fact=study.study,
        at=instant_text(study.at_ms),
        unit=study.unit,
        repeatability=_decimal(study.repeatability),
        reproducibility=_decimal(study.reproducibility),
        grr=_decimal(study.grr),
        part_variation=_decimal(study.part_variation),
        operators=study.operators,
        trials=study.trials,
        parts=study.parts,
        pooled=study.pooled,
    )


def _decimal(millionths: int | None) -> str:
    return "" if millionths is None else format_number(Fraction(millionths, SCALE))


def models_at(reader: Reader, at_ms: int) -> tuple[ModelSeen, ...]:
    """Every model by id, with its plan in force at an instant."""
    plans: list[Plan] = every_row(reader.transaction, Plan, '"from_ms" <= ?', (at_ms,))
    approvals: list[Approval] = every_row(reader.transaction, Approval)
    return tuple(
        _model_seen(model, [plan for plan in plans if plan.model == model.model], approvals)
        for model in every_row(reader.transaction, Model)
    )


def _model_seen(model: Model, plans: list[Plan], approvals: list[Approval]) -> ModelSeen:
    plan = max(plans, key=lambda plan: (plan.from_ms, parse_address(plan.plan)), default=None)
    return ModelSeen(
        model=model.model,
        name=model.name,
        brand=model.brand,
        gtin=model.gtin,
        revision=model.revision,
        core=model.core,
        plan="" if plan is None else plan.plan,
        windows=() if plan is None else tuple(WINDOWS.decode(plan.windows)),
        inspect=() if plan is None else tuple(INSPECTS.decode(plan.inspect)),
        rulebooks=() if plan is None else tuple(name for name in plan.rulebooks.split(",") if name),
        approvals=tuple(approval for approval in approvals if approval.model == model.model),
    )
