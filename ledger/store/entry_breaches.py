"""Breaches as an entry holds them: each with the position of the record that it concerns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from ledger.line.fact import Breach


class EntryBreach(Breach, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A breach in an entry; ``record`` is the position of its record."""

    record: int


def format_breaches(found: Sequence[Iterable[Breach]]) -> list[dict[str, object]]:
    """The JSON objects for the breaches of each record, in order."""
    return [
        {**msgspec.to_builtins(breach), "record": position}
        for position, breaches in enumerate(found)
        for breach in breaches
    ]


def breaches_at(breaches: Iterable[EntryBreach], record: int) -> tuple[Breach, ...]:
    """The breaches of one record of the entry."""
    return tuple(
        Breach(**{name: getattr(found, name) for name in Breach.__struct_fields__})
        for found in breaches
        if found.record == record
    )
