"""One entry for a person: each fact with its fields, which of them are sealed or erased, what is wrong, what corrected it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

import msgspec

from ledger.application.correction_before import landed
from ledger.application.proofs import entry_view
from ledger.book.sealed_field import is_sealed
from ledger.line.corrections import Correction
from ledger.line.fact import parse_address
from ledger.line.record import Record, sealed_places
from ledger.line.refold import ONCE
from ledger.line.rows import About, FactRow
from ledger.line.vocabulary import RECORD_OF
from ledger.store.entry_search import names_of
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

MOST = 200
"""Fields, and changed fields, of one fact that are told; a correction may say thousands."""

Sealing = Literal["", "withheld", "erasable"]


class FieldTold(msgspec.Struct, frozen=True, kw_only=True):
    """One field. ``path`` within its fact, as ``draws/0/kg``; ``sealing`` of a sealed one.

    A sealed field's ``value`` is that of its opening, None where that is gone; ``erased_by`` is then the fact that erased
    it, or empty where none did, which is damage.
    """

    path: str
    value: str | None
    sealing: Sealing = ""
    erased_by: str = ""


class Changed(msgspec.Struct, frozen=True, kw_only=True):
    """A field of a fact before and after a correction, None where the one or the other does not have it."""

    fact: str
    path: str
    before: str | None
    after: str | None


class BreachTold(msgspec.Struct, frozen=True, kw_only=True):
    """A breach as the entry states it."""

    code: str
    said: str
    node: str
    holds: bool


class FactTold(msgspec.Struct, frozen=True, kw_only=True):
    """One fact of the entry, as it was said in it.

    ``corrected_by``: the correction by which it stands otherwise or not at all now, empty for none; ``changes`` what a
    correction changed: the fact itself where it was corrected, others where it corrects.  Of fields and changes at most
    `MOST` are told, of ``said`` and ``changed``.
    """

    address: str
    kind: str
    standing: bool
    late: bool
    doubtful: bool
    corrected_by: str
    fields: tuple[FieldTold, ...]
    said: int
    nodes: tuple[str, ...]
    breaches: tuple[BreachTold, ...]
    changes: tuple[Changed, ...]
    changed: int


class EntryTold(msgspec.Struct, frozen=True, kw_only=True):
    """One entry. ``name`` is its author's, None once erased; ``signed`` says whether a station signed what it said."""

    index: int
    size: int
    hash: str
    prev: str
    recorded_at: str
    author: str
    name: str | None
    key: str
    signed: bool
    facts: tuple[FactTold, ...]


def entry_told(reader: Reader, index: int) -> EntryTold:
    """One entry in full. Raises NotFound. Cost: the entry, and those that corrected it or that it corrected."""
    seen = entry_view(reader, index)
    entry = seen.entry
    addresses = [f"{index}.{place}" for place in range(len(entry["said"]["records"]))]
    rows: dict[str, FactRow] = {row.address: row for row in rows_with(reader, FactRow, "address", addresses)}
    nodes: dict[str, list[str]] = {}
    for about in sorted(rows_with(reader, About, "address", addresses), key=lambda row: row.node):
        nodes.setdefault(about.address, []).append(about.node.removeprefix(ONCE))
    author = entry["author"]
    return EntryTold(
        index=index,
        size=reader.head().size,
        hash=seen.hash,
        prev=entry["prev"],
        recorded_at=entry["recorded_at"],
        author=author,
        name=names_of(reader.transaction, [author]).get(author, author),
        key=entry["said"]["key"],
        signed="signature" in entry,
        facts=tuple(
            _fact(
                reader,
                record,
                rows.get(address),
                address=address,
                fields=list(_fields(record, address, seen.openings, seen.erased)),
                nodes=tuple(dict.fromkeys(nodes.get(address, ()))),
                breaches=tuple(_breaches(entry["breaches"], place)),
            )
            for place, (address, record) in enumerate(zip(addresses, entry["said"]["records"], strict=True))
        ),
    )


def _fact(
    reader: Reader,
    record: Mapping[str, Any],
    row: FactRow | None,
    *,
    address: str,
    fields: list[FieldTold],
    **told: Any,
) -> FactTold:
    changes = _changes(reader, record, row, address)
    return FactTold(
        address=address,
        kind=record["kind"],
        standing=row is None or row.standing,
        late=row is not None and row.late,
        doubtful=row is not None and row.doubtful,
        corrected_by="" if row is None else row.body.rpartition(".")[0],
        fields=tuple(fields[:MOST]),
        said=len(fields),
        changes=tuple(changes[:MOST]),
        changed=len(changes),
        **told,
    )


def _fields(
    record: Mapping[str, Any], address: str, openings: Mapping[str, Any], erased: Mapping[str, str]
) -> Iterator[FieldTold]:
    position = parse_address(address)[1]
    sealings = {place.path: place.sealing for place in sealed_places(RECORD_OF[record["kind"]], record)}
    for path, value in _leaves({name: part for name, part in record.items() if name != "kind"}):
        if not is_sealed(value):
            yield FieldTold(path=path, value=_text(value))
            continue
        whole = f"{position}/{path}"
        yield FieldTold(
            path=path,
            value=_text(openings[whole]) if whole in openings else None,
            sealing=sealings.get(path, "withheld"),  # type: ignore[arg-type]  # one of the two by the record's type
            erased_by=erased.get(whole, ""),
        )


def _leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value in a record's JSON with its path; a sealed field is one."""
    parts: Any = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list | tuple) else ()
    )
    if is_sealed(value) or not isinstance(value, dict | list | tuple):
        yield path, value
        return
    for name, part in parts:
        yield from _leaves(part, f"{path}/{name}" if path else str(name))


def _text(value: Any) -> str:
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()


def _breaches(breaches: list[dict[str, Any]], place: int) -> Iterator[BreachTold]:
    for breach in breaches:
        if breach["record"] == place:
            yield BreachTold(
                code=breach["code"], said=breach["said"], node=breach["node"], holds=breach.get("holds", True)
            )


def _changes(reader: Reader, record: Mapping[str, Any], row: FactRow | None, address: str) -> list[Changed]:
    if record["kind"] == "correction":
        return _changed_by(reader, address)
    if row is None or not row.body:
        return []
    return [change for change in _changed_by(reader, row.body.rpartition(".")[0]) if change.fact == address]


def _changed_by(reader: Reader, correction: str) -> list[Changed]:
    """What a correction changed, field by field."""
    found = landed(reader, correction)
    record: Correction = found.record
    changes: list[Changed] = []
    for change in record.changes:
        before = _plain(found.before[change.fact].record)
        after = _plain(change.replacement) if isinstance(change.replacement, Record) else {}
        changes.extend(
            Changed(fact=change.fact, path=path, before=before.get(path), after=after.get(path))
            for path in dict.fromkeys([*before, *after])
            if before.get(path) != after.get(path)
        )
    return changes


def _plain(record: Record) -> dict[str, str]:
    return {path: _text(value) for path, value in _leaves(msgspec.to_builtins(record)) if path != "kind"}
