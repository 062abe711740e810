"""Hypothesis strategies that more than one test uses: ids, instants, decimals, and corrected bodies of facts."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.book.instant import Instant, format_instant, parse_instant
from ledger.line.record import Record

FIRST_MS = 1_767_225_600_000
"""2026-01-01T00:00Z."""

YEAR_MS = 365 * 86_400_000

offsets = st.sampled_from([0, 60, 120, -300, 345])
"""Offsets from UTC in minutes, a quarter-hour one among them."""

ids = st.from_regex(r"\A[A-Z0-9][A-Z0-9._-]{0,39}\Z")
"""Upper-case ids as records take them."""

kilograms = st.integers(0, 10**9).map(lambda g: f"{g // 1000}.{g % 1000:03d}")
"""Kilograms to 0.001."""


@st.composite
def instants(draw: st.DrawFn) -> str:
    """Instants of 2026 in the book's form."""
    return format_instant(Instant(FIRST_MS + draw(st.integers(0, YEAR_MS)), draw(offsets)))


def shifted(instant: str, minutes: int) -> str:
    """The instant so many minutes later, in its offset."""
    parsed = parse_instant(instant)
    return format_instant(Instant(parsed.ms + minutes * 60_000, parsed.offset_minutes))


@st.composite
def changed_records(draw: st.DrawFn, record: Record, names: dict[str, list[str]]) -> Record:
    """The record with one to three of its fields said otherwise; ``names`` gives what an id field may name instead."""
    fields: dict[str, Any] = {}
    for field in draw(st.lists(st.sampled_from(record.__struct_fields__), min_size=1, max_size=3)):
        old = getattr(record, field)
        if field in names and isinstance(old, str) and names[field]:
            fields[field] = draw(st.sampled_from(names[field]))
        elif (field == "at" or field.endswith("_at")) and old is not UNSET:
            fields[field] = shifted(old, draw(st.integers(-3000, 3000)))
        elif isinstance(old, bool):
            fields[field] = not old
        elif isinstance(old, int):
            fields[field] = max(1, old + draw(st.integers(-5, 5)))
        elif field == "node" and old is not UNSET:
            fields[field] = f"lot:{draw(st.sampled_from(names['lot']))}"
        elif isinstance(old, tuple) and old and isinstance(old[0], msgspec.Struct):
            fields[field] = tuple(draw(_changed_part(part, names)) for part in old)
    changed = msgspec.structs.replace(record, **fields)
    try:
        return msgspec.convert(msgspec.to_builtins(changed), type(record))
    except msgspec.ValidationError:
        return record  # outside what the kind takes: it could not have been said


@st.composite
def _changed_part(draw: st.DrawFn, part: msgspec.Struct, names: dict[str, list[str]]) -> msgspec.Struct:
    fields: dict[str, Any] = {}
    if "lot" in part.__struct_fields__ and draw(st.booleans()):
        fields["lot"] = draw(st.sampled_from(names["lot"]))
    if "count" in part.__struct_fields__:
        fields["count"] = max(1, getattr(part, "count") + draw(st.integers(-4, 4)))  # noqa: B009  # a part that has one
    return msgspec.structs.replace(part, **fields)
