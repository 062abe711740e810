"""Writing a dossier: the evidence file that is handed over, one deterministic zip.

Same content, same bytes: members in a fixed order, nothing of the clock or of the machine in them. Entries and sheets
are taken from iterables one at a time, so memory grows only by about 200 bytes a file (the digests and the archive's
directory). The files are told in `dossier_format`. Nothing is checked here against the book: `verifier` does that, and
whoever hands a dossier over runs it first.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

from msgspec import UNSET

from ledger.book.canonical import encode
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.entry import read_entry
from ledger.book.note import sign_note
from ledger.book.sealed_field import Opening
from ledger.book.signing import NoteSigner
from ledger.conformity.rulebook import rulebook_digest
from ledger.errors import DossierRejected, MalformedKey
from ledger.evidence.archive import ArchiveWriter
from ledger.evidence.dossier_format import (
    CHECKPOINT,
    FORMAT,
    KEYS,
    MANIFEST,
    README,
    SIGNATURE,
    SUMS,
    BallSheet,
    KeyLine,
    Manifest,
    format_page,
    signed_text,
)
from ledger.evidence.readme_text import readme_text
from ledger.line.record import sealed_places
from ledger.line.rows import BookKey
from ledger.line.submission import record_type_of


@dataclass(frozen=True, slots=True)
class DossierEntry:
    """An entry exactly as hashed, its receipt against the dossier's checkpoint, and what of its sealed fields is told.

    ``openings`` are opened; ``erased`` names paths whose openings are gone for ever; every other sealed field of the
    entry is withheld.
    """

    index: int
    raw: bytes
    receipt: str
    openings: Sequence[Opening] = ()
    erased: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class DossierContent:
    """What goes into a dossier.

    ``checkpoint``: the note that every receipt holds. ``keys``: the book's keys that the entries introduce.
    ``rulebooks``: bytes of the files by which the sheets are judged, ascending by digest. ``entries`` by ascending
    index: every entry that the sheets name, those that made the lots above, the models and approvals, the gauges used,
    the corrections of any of these, entry 0 and the introduction of the dossier key. ``balls`` by ascending unit.
    """

    scope: str
    checkpoint: bytes
    keys: Sequence[BookKey]
    rulebooks: Sequence[bytes]
    entries: Iterable[DossierEntry]
    balls: Iterable[BallSheet]
    signer: NoteSigner


@dataclass(slots=True)
class _Counts:
    """What the manifest counts."""

    balls: int = 0
    entries: int = 0
    opened: int = 0
    withheld: int = 0
    erased: int = 0


class _Sums:
    """The archive, and the line of SHA256SUMS for each member written."""

    def __init__(self, out: BinaryIO) -> None:
        self.archive = ArchiveWriter(out)
        self.lines = bytearray()

    def add(self, name: str, content: bytes) -> None:
        self.archive.add(name, content)
        self.lines += f"{hashlib.sha256(content).hexdigest()}  {name}\n".encode()


def write_dossier(out: BinaryIO, content: DossierContent) -> None:
    """Write the dossier to ``out``, which need not seek.

    Raises MalformedKey when the signer is no dossier key, DossierRejected for entries, sheets or rulebooks out of
    order, and the errors of the book for an entry or checkpoint that is none. What was written till then is no dossier.
    """
    if content.signer.purpose != "dossier":
        raise MalformedKey("key has another purpose", expected="dossier", got=content.signer.purpose)
    head = parse_checkpoint(content.checkpoint)
    sums, counts = _Sums(out), _Counts()
    sums.add(README, readme_text(head.origin).encode())
    sums.add(CHECKPOINT, content.checkpoint)
    sums.add(KEYS, format_page(key_lines(content.keys)))
    _write_rulebooks(sums, content.rulebooks)
    _write_entries(sums, counts, content.entries)
    _write_balls(sums, counts, content.balls)
    lines = bytes(sums.lines)
    manifest = Manifest(
        format="pourbook dossier",
        v=FORMAT,
        book=head.origin,
        tree_size=head.tree_size,
        scope=content.scope,
        sums=hashlib.sha256(lines).hexdigest(),
        balls=counts.balls,
        entries=counts.entries,
        rulebooks=len(content.rulebooks),
        opened=counts.opened,
        withheld=counts.withheld,
        erased=counts.erased,
    )
    page = format_page(manifest)
    sums.archive.add(SUMS, lines)
    sums.archive.add(MANIFEST, page)
    text = signed_text(head.origin, hashlib.sha256(page).hexdigest())
    sums.archive.add(SIGNATURE, sign_note(text, [content.signer]))
    sums.archive.close()


def key_lines(keys: Iterable[BookKey]) -> tuple[KeyLine, ...]:
    """The keys as they stand in the dossier, by name and key id."""
    return tuple(
        KeyLine(
            key=row.key_name,
            purpose=row.purpose,
            verifier=row.verifier,
            from_size=row.from_size,
            to_size=UNSET if row.to_size is None else row.to_size,
        )
        for row in sorted(keys, key=lambda row: row.book_key)
    )


def _write_rulebooks(sums: _Sums, rulebooks: Sequence[bytes]) -> None:
    last = ""
    for raw in rulebooks:
        digest = rulebook_digest(raw)
        _check_order(last, digest, "rulebooks")
        sums.add(f"rulebooks/{digest}.toml", raw)
        last = digest


def _write_entries(sums: _Sums, counts: _Counts, entries: Iterable[DossierEntry]) -> None:
    last = -1
    for entry in entries:
        _check_order(last, entry.index, "entries")
        sums.add(f"entries/{entry.index}.json", entry.raw)
        sums.add(f"receipts/{entry.index}.tlog-proof", entry.receipt.encode())
        lines = opening_lines(entry)
        if lines:
            sums.add(f"openings/{entry.index}.jsonl", b"".join(encode(line) + b"\n" for line in lines))
        counts.entries += 1
        outcomes = [line["outcome"] for line in lines]
        counts.opened += outcomes.count("opened")
        counts.withheld += outcomes.count("withheld")
        counts.erased += outcomes.count("erased")
        last = entry.index


def _write_balls(sums: _Sums, counts: _Counts, balls: Iterable[BallSheet]) -> None:
    last = ""
    for sheet in balls:
        _check_order(last, sheet.unit, "balls")
        sums.add(f"balls/{sheet.unit}.json", format_page(sheet))
        counts.balls += 1
        last = sheet.unit


def _check_order(last: Any, this: Any, what: str) -> None:
    if not last < this:
        raise DossierRejected(f"{what} are not in ascending order", expected=f"after {last}", got=this, where=what)


def opening_lines(entry: DossierEntry) -> list[dict[str, Any]]:
    """What is told of each sealed field of an entry, in the order of the entry: opened, withheld or erased."""
    opened = {opening.path: opening for opening in entry.openings}
    lines: list[dict[str, Any]] = []
    for path, _ in sealed_paths(read_entry(entry.raw).said.records):
        if path in opened:
            opening = opened[path]
            told = {"outcome": "opened", "path": path, "salt": opening.salt.hex(), "value": opening.value}
        else:
            told = {"outcome": "erased" if path in entry.erased else "withheld", "path": path}
        lines.append(told)
    return lines


def sealed_paths(records: Sequence[Mapping[str, Any]]) -> list[tuple[str, Any]]:
    """Path and content of each sealed field of an entry's records. Raises MalformedRecord for an unknown kind."""
    return [
        (f"{position}/{place.path}", place.holder[place.key])
        for position, body in enumerate(records)
        for place in sealed_places(record_type_of(body, position), body)
    ]
