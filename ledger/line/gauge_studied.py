"""A gauge study as a record: who read which master part how often, with every value; and its figures as a view.

The values stay whole in the entry.  How the figures follow from them, and the source, is in `gauge_study`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from msgspec import Meta

from ledger.errors import Contradiction, MalformedRecord
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.gauge_study import analyse, check_layout, estimate, parse_layout, spread
from ledger.line.gauges import UnitText, check_range, check_shows, gauge_needs, known_gauge
from ledger.line.kind import Kind, Setting
from ledger.line.quantity import scaled_reading
from ledger.line.reading_rows import GaugeStudy
from ledger.line.record import DecimalText, Id, Record
from ledger.line.state import Need, State

Values = Annotated[tuple[DecimalText, ...], Meta(min_length=2, max_length=50)]


class GaugeStudied(Record, frozen=True, kw_only=True, tag="gauge-studied"):
    """Repeatability and reproducibility of a gauge: ``readings[operator][trial][part]``, in the gauge's unit.

    ``parts`` are master pieces and ``operators`` codes of the study, in the order of the readings; nobody is named.
    ``pooled``: the interaction was taken into the repeatability.
    """

    gauge: Id
    unit: UnitText
    parts: Annotated[tuple[Id, ...], Meta(min_length=2, max_length=50)]
    operators: Annotated[tuple[Id, ...], Meta(min_length=2, max_length=20)]
    trials: Annotated[int, Meta(ge=2, le=20)]
    readings: Annotated[
        tuple[Annotated[tuple[Values, ...], Meta(min_length=2, max_length=20)], ...], Meta(min_length=2, max_length=20)
    ]
    pooled: bool


def newest_study(studies: Iterable[GaugeStudy]) -> GaugeStudy | None:
    """The study that was made last; of several of one instant the one said last."""
    return max(studies, key=lambda row: (row.at_ms, parse_address(row.study)), default=None)


def _check(record: GaugeStudied, state: State, _setting: Setting) -> list[Breach]:
    gauge = known_gauge(state, record.gauge, where="gauge")
    check_shows(gauge, record.unit, where="unit")
    for name in ("parts", "operators"):
        if len(set(getattr(record, name))) != len(getattr(record, name)):
            raise Contradiction(
                f"one of the {name} is named twice",
                where=name,
                mend="give each an id of its own; the repeated readings of one are its trials",
            )
    check_layout(record.readings)
    shape = len(record.readings), len(record.readings[0]), len(record.readings[0][0])
    said = len(record.operators), record.trials, len(record.parts)
    if shape != said:
        raise MalformedRecord(
            "the readings are not those of the operators, trials and parts named",
            expected="{} operators, {} trials, {} parts".format(*said),
            got="{}, {}, {}".format(*shape),
            where="readings",
            mend="send readings[operator][trial][part], every operator reading every part in each trial",
        )
    for o, operator in enumerate(record.readings):
        for t, trial in enumerate(operator):
            values = [scaled_reading(text, record.unit, gauge.quantity) for text in trial]
            check_range(gauge, values, where=f"readings[{o}][{t}]")
    return []


def _effects(fact: Fact, state: State) -> None:
    record: GaugeStudied = fact.record  # type: ignore[assignment]  # the kind table pairs them
    figures = spread(estimate(analyse(parse_layout(record.readings)), pool=record.pooled))
    row = GaugeStudy(
        study=fact.address,
        gauge=record.gauge,
        at_ms=fact.at_ms,
        unit=record.unit,
        repeatability=figures.repeatability,
        reproducibility=figures.reproducibility,
        grr=figures.grr,
        part_variation=figures.part,
        operators=len(record.operators),
        trials=record.trials,
        parts=len(record.parts),
        repeat_df=figures.repeat_df,
        pooled=record.pooled,
    )
    state.put(row)


def _needs(record: GaugeStudied, _state: State) -> Iterable[Need]:
    return gauge_needs(record.gauge)


def _about(record: GaugeStudied) -> Iterable[str]:
    return [f"gauge:{record.gauge}"]


KINDS = (Kind(GaugeStudied, "report", _needs, _check, _effects, _about),)
