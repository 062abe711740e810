"""Spells for tests: from times and events, one ball each, or counted."""

from __future__ import annotations

from collections.abc import Iterable

from ledger.warranty.exposure import Spell, Spells, spell_columns


def balls(times: Iterable[float], events: Iterable[bool | int], cohort: int = 0) -> Spells:
    """One ball a time in days; those without an event are still at risk."""
    return spell_columns(
        [
            Spell(cohort, days, 1, claimed=bool(event), out=not event)  # type: ignore[arg-type]  # parts of days too
            for days, event in zip(times, events, strict=True)
        ]
    )
