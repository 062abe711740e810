"""The cure and rest times in a ball, each against the plan in force when the step that ended it began."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import msgspec

from ledger.application.histories import instant_text
from ledger.application.temperature_logs import log_words
from ledger.line.cure_temperatures import Span
from ledger.line.fact import parse_address
from ledger.line.lineage import HEIRS
from ledger.line.lot_changes import CURED_STEPS
from ledger.line.process_plan import WINDOWS
from ledger.line.rows import Descent, FactRow, Lot, LotStep, Plan, Unit
from ledger.line.temperature_rows import TemperatureLog
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class CureTime(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How long one stage lasted, and what the plan asks. ``kept`` is None where the plan sets no window.

    ``margin_s``: seconds inside (positive) or outside (negative) the nearer end of the window.  ``temperature``: what the
    logs of the lot, and of those that went on from it, say of the stage, in words.
    """

    stage: str
    lot: str
    began_at: str
    ended_at: str
    elapsed_s: int
    least_s: int | None = None
    most_s: int | None = None
    kept: bool | None = None
    margin_s: int | None = None
    temperature: str = "no log"
    certain: bool = True


class _Span(NamedTuple):
    """One stage of a lot, from an instant to another, judged by the plan of a model."""

    stage: str
    lot: str
    model: str | None
    from_ms: int
    to_ms: int


def cure_times(
    reader: Reader, unit: Unit, lots: Sequence[Lot], edges: Sequence[Descent], certain: set[str]
) -> tuple[CureTime, ...]:
    """The stages of a ball's lots in order of time. ``lots``: its shell lot and every lot above; ``edges`` between."""
    by_name = {lot.lot: lot for lot in lots}
    plans: list[Plan] = rows_with(reader, Plan, "model", {lot.model for lot in lots if lot.model is not None})
    # A lot that went on from another was demoulded as that one, and is not told twice.
    heirs = {edge.child for edge in edges if edge.part in HEIRS}
    spans = [
        _Span(f"{lot.stage}-demould", lot.lot, lot.model, lot.began_ms, lot.ended_ms)
        for lot in lots
        if lot.stage in {"block", "core", "shell"} and lot.lot not in heirs
    ]
    for edge in edges:
        child, parent = by_name.get(edge.child), by_name.get(edge.parent)
        if child is not None and parent is not None and parent.stage in {"block", "core"} and edge.part == parent.stage:
            spans.append(_Span(f"{parent.stage}-rest", parent.lot, child.model, parent.ended_ms, child.began_ms))
    for name, cured_ms in _final_cures(reader, unit, by_name, edges).items():
        shell = by_name[name]
        spans.append(_Span("final-cure", name, shell.model, shell.ended_ms, cured_ms))
    logs: list[TemperatureLog] = rows_with(reader, TemperatureLog, "lot", list(by_name))
    return tuple(
        _cure(plans, span, _logs_of(span, logs, edges), certain=span.lot in certain)
        for span in sorted(spans, key=lambda span: (span.from_ms, span.to_ms))
    )


def lot_cures(reader: Reader, lot: Lot) -> tuple[CureTime, ...]:
    """The stages of one lot that have ended, in order of time: its demoulding, each rest, the final cure of a shell lot.

    A rest ended for some of its pieces with each lot that was poured round them.
    """
    if lot.stage not in {"block", "core", "shell"}:
        return ()
    above: list[Descent] = reader.rows(Descent, "child", lot.lot)
    below: list[Descent] = [edge for edge in reader.rows(Descent, "parent", lot.lot) if edge.part == lot.stage]
    children: list[Lot] = rows_with(reader, Lot, "lot", {edge.child for edge in below})
    spans = [_Span(f"{lot.stage}-rest", lot.lot, child.model, lot.ended_ms, child.began_ms) for child in children]
    if not any(edge.part in HEIRS for edge in above):
        spans.append(_Span(f"{lot.stage}-demould", lot.lot, lot.model, lot.began_ms, lot.ended_ms))
        steps = [step.began_ms for step in reader.rows(LotStep, "lot", lot.lot) if step.step in CURED_STEPS]
        if lot.stage == "shell" and steps:
            spans.append(_Span("final-cure", lot.lot, lot.model, lot.ended_ms, min(steps)))
    plans: list[Plan] = rows_with(reader, Plan, "model", {span.model for span in spans if span.model is not None})
    logs: list[TemperatureLog] = reader.rows(TemperatureLog, "lot", lot.lot)
    return tuple(
        _cure(plans, span, _logs_of(span, logs, above), certain=True)
        for span in sorted(spans, key=lambda span: (span.from_ms, span.to_ms))
    )


def _final_cures(reader: Reader, unit: Unit, lots: Mapping[str, Lot], edges: Sequence[Descent]) -> dict[str, int]:
    """The shell lots in which a ball may have been poured, and the first step (instant, ms) that its cure came before.

    Of a lot that the ball's own went on from, only the steps before that count; by several ways, the earliest step.
    """
    heirs: dict[str, list[str]] = {}
    for edge in edges:
        if edge.part in HEIRS:
            heirs.setdefault(edge.child, []).append(edge.parent)
    made_by = {lots[name].address for name in heirs if name in lots}
    went_on_ms = {row.address: row.at_ms for row in rows_with(reader, FactRow, "address", made_by)}
    steps: list[LotStep] = rows_with(reader, LotStep, "lot", [lot.lot for lot in lots.values() if lot.stage == "shell"])
    found: dict[str, int] = {}
    waiting: list[tuple[str, int, int | None]] = [(unit.lot, unit.began_ms, None)]
    seen: set[tuple[str, int, int | None]] = set()
    while waiting:
        name, cured_ms, until_ms = here = waiting.pop()
        if here in seen or name not in lots:
            continue
        seen.add(here)
        cured_ms = min([cured_ms, *(step.began_ms for step in steps if _ends_cure(step, name, until_ms))])
        if name in heirs:
            waiting.extend((parent, cured_ms, went_on_ms[lots[name].address]) for parent in heirs[name])
        else:
            found[name] = min(cured_ms, found.get(name, cured_ms))
    return found


def _ends_cure(step: LotStep, lot: str, until_ms: int | None) -> bool:
    return step.lot == lot and step.step in CURED_STEPS and (until_ms is None or step.began_ms < until_ms)


def _logs_of(span: _Span, logs: Sequence[TemperatureLog], edges: Sequence[Descent]) -> list[TemperatureLog]:
    """The logs of a stage of a lot, and of the lots that its pieces went on as."""
    lots = {span.lot}
    while more := {edge.child for edge in edges if edge.part in HEIRS and edge.parent in lots} - lots:
        lots |= more
    return [log for log in logs if log.stage == span.stage and log.lot in lots]


def _cure(plans: Sequence[Plan], span: _Span, logs: Sequence[TemperatureLog], *, certain: bool) -> CureTime:
    stage, lot, model, from_ms, to_ms = span
    began = from_ms if stage.endswith("-demould") else to_ms
    standing = [plan for plan in plans if plan.model == model and plan.from_ms <= began]
    plan = max(standing, key=lambda plan: (plan.from_ms, parse_address(plan.plan)), default=None)
    windows = [] if plan is None else [w for w in WINDOWS.decode(plan.windows) if w.stage == stage]
    elapsed = (to_ms - from_ms) // 1000
    least = windows[0].min_s if windows else None
    most = windows[0].max_s if windows and isinstance(windows[0].max_s, int) else None
    margins = [elapsed - least] if least is not None else []
    margins += [most - elapsed] if most is not None else []
    margin = min(margins, default=None)
    return CureTime(
        stage=stage,
        lot=lot,
        began_at=instant_text(from_ms),
        ended_at=instant_text(to_ms),
        elapsed_s=elapsed,
        least_s=least,
        most_s=most,
        kept=None if margin is None else margin >= 0,
        margin_s=margin,
        temperature=log_words(logs, Span(from_ms, to_ms)),
        certain=certain,
    )
