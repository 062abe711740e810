"""The plant's own limits, stated in the book: when a report is late, a time doubtful, a component too dense.

They hold from the entry after the one that states them, and are judged by entry, never by date: a fact is marked by the
limits that stood at its index, however it is corrected later, so that a rebuild gives the same marks.  What stood, stood:
a statement of limits is not corrected, but followed by another.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

import msgspec
from msgspec import Meta

from ledger.book.decimal_text import scaled
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Record
from ledger.line.rows import PlantRules
from ledger.line.state import Need, State

PLANT = "plant"

RULES_NEED = Need(PlantRules, "scope", PLANT)
"""Every limit that was ever stated: entering any fact reads them, and they are few."""


LATE_S = 3_600
"""A report taken more seconds after the act is late, unless the plant says otherwise (common practice, no source)."""

DOUBTFUL_S = 120
"""A time is doubtful when its clock may be more seconds off, unless the plant says otherwise (common practice, no source)."""

DENSITY_CAP = "3.80"
"""Highest density of a component, g/mL, unless the plant says otherwise (second-hand: rulebook text quoted elsewhere)."""


class PlantRulesSet(Record, frozen=True, kw_only=True, tag="plant-rules-set"):
    """The plant's limits from the next entry on, all of them: one that is left out has its default, which never changes."""

    late_s: Annotated[
        int,
        Meta(ge=60, le=2_678_400, description="a report taken later than this after the act is late; 1 min to 31 d"),
    ] = LATE_S
    doubtful_s: Annotated[
        int, Meta(ge=1, le=86_400, description="a time whose clock may be off by more is doubtful; 1 s to 1 d")
    ] = DOUBTFUL_S
    density_cap: Annotated[
        str, Meta(pattern=r"^[1-9](\.[0-9]{1,6})?\Z", description="highest density of a component, g/mL, 1 to below 10")
    ] = DENSITY_CAP


class LineRules(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """The limits as they are compared. ``density_cap_micro`` is g/mL x 10^6; ``address`` is empty for the defaults."""

    late_ms: int = LATE_S * 1000
    doubtful_ms: int = DOUBTFUL_S * 1000
    density_cap_micro: int = scaled(DENSITY_CAP, 6)
    address: str = ""

    @property
    def density_cap(self) -> str:
        """g/mL as decimal text, without trailing zeros."""
        whole, part = divmod(self.density_cap_micro, 1_000_000)
        return f"{whole}.{part:06d}".rstrip("0").rstrip(".")


_BEFORE_ANY = (0, LineRules())
_NEWEST = "newest"


def rules_at(index: int, state: State) -> LineRules:
    """The limits that stand for facts of an entry: the newest stated before it. Needs `RULES_NEED`; one look-up mostly."""
    memo = state.memo(PlantRules)
    newest = memo.get(_NEWEST)
    if newest is None:
        newest = memo[_NEWEST] = _newest(state.where(PlantRules, "scope", PLANT))
    if index >= newest[0]:
        return newest[1]
    return _newest(row for row in state.where(PlantRules, "scope", PLANT) if row.from_size <= index)[1]


def newest_rules(rows: Iterable[PlantRules]) -> LineRules:
    """The limits that stand for the next entry, from every row."""
    return _newest(rows)[1]


def _newest(rows: Iterable[PlantRules]) -> tuple[int, LineRules]:
    row = max(rows, key=lambda row: row.from_size, default=None)
    if row is None:
        return _BEFORE_ANY
    return row.from_size, LineRules(
        late_ms=row.late_ms,
        doubtful_ms=row.doubtful_ms,
        density_cap_micro=row.density_cap_micro,
        address=row.address,
    )


def _check(_record: PlantRulesSet, _state: State, _setting: Setting) -> list[Breach]:
    return []


def _effects(fact: Fact, state: State) -> None:
    record: PlantRulesSet = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = PlantRules(
        scope=PLANT,
        from_size=fact.index + 1,
        late_ms=record.late_s * 1000,
        doubtful_ms=record.doubtful_s * 1000,
        density_cap_micro=scaled(record.density_cap, 6),
        address=fact.address,
    )
    state.put(row)


PLANT_RULES_SET = Kind(
    PlantRulesSet, "decision", lambda _record, _state: [RULES_NEED], _check, _effects, lambda _record: ["rules:plant"]
)
