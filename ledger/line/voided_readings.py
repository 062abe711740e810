"""Which readings a piece of work can have changed, and taking them out of those that stand of a ball."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from ledger.book.canonical import encode
from ledger.line.reading_rows import Measured
from ledger.line.rows import Unit
from ledger.line.standing_readings import (
    Manner,
    Source,
    ends_of,
    format_manner,
    format_sources,
    parse_manner,
    parse_sources,
)
from ledger.line.state import State

_OF_SURFACE = ("hardness", "roughness", "friction", "oil_absorption")
_OF_SIZE = ("mass", "circumference", "diameter", "out_of_round")
_OF_BALANCE = ("top_weight", "static_imbalance", "pin_to_cg", "pin_to_low_axis")
_OF_GYRATION = ("rg_low", "rg_mid", "rg_high", "differential", "mid_differential")

VOIDED: dict[str, tuple[str, ...]] = {
    "resurface": ("hardness", "roughness", *_OF_SIZE, "friction", "oil_absorption"),
    "polish": _OF_SURFACE,
    "re-turn": (*_OF_SURFACE, *_OF_SIZE, *_OF_BALANCE, *_OF_GYRATION),
    "plug": (*_OF_SURFACE, *_OF_SIZE, *_OF_BALANCE, *_OF_GYRATION),
    "re-pour": tuple(name.removesuffix("_u") for name in Measured.__struct_fields__ if name.endswith("_u")),
}
"""Which readings a rework can change (common practice, no source)."""

_AS = {"turned": "re-turn", "sanded": "resurface", "finished": "resurface", "polished": "polish"}
"""The rework that changes what a step of making does, where it changes anything that is measured."""


def changed_by(step: str) -> tuple[str, ...]:
    """The quantities that a step of making, on a lot or a ball, can change (common practice, no source)."""
    return VOIDED[_AS[step]] if step in _AS else ()


def void_readings(state: State, unit: str, quantities: Iterable[str], at_ms: int) -> None:
    """Take out of a unit's standing readings those taken before a rework at ``at_ms`` that it can have changed."""
    measured = _row_of(state, unit)
    if measured is None:
        return
    manner = dict(parse_manner(measured.manner))
    sources = parse_sources(measured.sources, manner)
    voided = msgspec.json.decode(measured.voided)
    columns: dict[str, int | None] = {}
    for quantity in quantities:
        voided[quantity] = max(at_ms, voided.get(quantity, at_ms))
        if quantity in sources and sources[quantity].at_ms < at_ms:
            del sources[quantity], manner[quantity]
            columns[quantity] = None
            columns[f"{quantity}_u"] = None
    texts = {**texts_of(manner, sources), "voided": encode(voided).decode()}
    state.put(msgspec.structs.replace(measured, **texts, **columns))


def _row_of(state: State, unit: str) -> Measured | None:
    """The readings of a unit, or a row without any beside the unit's own columns; None where the unit itself is gone."""
    measured = state.held(Measured, unit)
    if measured is not None:
        return measured
    row = state.held(Unit, unit)
    if row is None:
        return None
    return Measured(
        unit=unit, lot=row.lot, weight_class=row.weight_class, began_ms=row.began_ms, engraved_ms=row.engraved_ms
    )


def texts_of(manner: Mapping[str, Manner], sources: Mapping[str, Source]) -> dict[str, Any]:
    """The columns of a `Measured` row beside its values: how, when and how warm its readings were taken."""
    first_ms, last_ms, coldest, warmest = ends_of(sources.values())
    return {
        "manner": format_manner(manner),
        "sources": format_sources(sources),
        "first_ms": first_ms,
        "last_ms": last_ms,
        "coldest": coldest,
        "warmest": warmest,
    }
