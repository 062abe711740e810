"""The records that a submission says, those that its corrections put in another's place among them, and where each stands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from msgspec import UNSET

from ledger.line.corrections import Correction
from ledger.line.record import Record


class SaidPlace(NamedTuple):
    """A record, the place of the record that says it, where it stands in words, its note's path, and the fact it corrects."""

    record: Record
    place: int
    where: str
    note_path: str
    corrects: str = ""


def said_places(records: Iterable[Record]) -> Iterator[SaidPlace]:
    """Every record in order; a correction gives its replacements and not itself."""
    for place, record in enumerate(records):
        if not isinstance(record, Correction):
            yield SaidPlace(record, place, f"records[{place}]", f"{place}/note")
            continue
        for number, change in enumerate(record.changes):
            if change.replacement is not UNSET:
                where = f"records[{place}].changes[{number}].replacement"
                note = f"{place}/changes/{number}/replacement/note"
                yield SaidPlace(change.replacement, place, where, note, change.fact)
