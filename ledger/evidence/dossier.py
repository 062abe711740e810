"""Writing a dossier: the evidence file that is handed over, one deterministic zip.

Same content, same bytes: members in a fixed order, nothing of the clock or of the machine in them. Entries and sheets
are taken from iterables one at a time, so memory grows only by about 200 bytes a file (the digests and the archive's
directory). The files are told in `dossier_format`. Nothing is checked here against the book: `verifier` does that, and
whoever hands a dossier over runs it first.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from msgspec import UNSET

from ledger.book.canonical import encode
from ledger.book.checkpoint import UnverifiedCheckpoint, parse_checkpoint
from ledger.book.entry import read_entry
from ledger.book.note import sign_note
from ledger.book.sealed_field import Opening
from ledger.book.signing import NoteSigner
from ledger.errors import DossierRejected, MalformedKey
from ledger.evidence.archive import ArchiveWriter
from ledger.evidence.ball_made import BallMade
from ledger.evidence.dossier_format import (
    APPROVAL,
    CHECKPOINT,
    DID,
    FORMAT,
    KEYS,
    MANIFEST,
    README,
    REPORT,
    SIGNATURE,
    SUMS,
    VERDICTS,
    VERDICTS_LIMIT,
    VERIFY_PAGE,
    VERIFY_TEXT,
    BallSheet,
    KeyLine,
    LotPage,
    Manifest,
    Scope,
    format_page,
    signed_text,
)
from ledger.evidence.dossier_layout import LayoutCounter
from ledger.evidence.files import verify_page, verify_text
from ledger.evidence.readme_text import readme_text
from ledger.evidence.verdict_table import VerdictTableWriter
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


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierContent:
    """What goes into a dossier.

    ``checkpoint``: the note that every receipt holds. ``keys``: the book's keys that the entries introduce.
    ``rulebooks``: bytes of the files by which the sheets are judged, ascending by digest. ``entries`` by ascending
    index: every entry that the sheets name, those that made the lots above, the models, plans and approvals, the gauges
    used, the corrections of any of these, entry 0 and the introduction of the dossier key. ``balls`` by ascending unit.

    The rest may be left out. ``tokens``: RFC 3161 responses over ``checkpoint`` by the name of who gave them. ``did``,
    ``approval`` and ``report``: the bytes of those files. ``checklists`` and ``documents``: files ascending by digest.
    ``lots`` ascending by lot; ``events`` and ``credentials``: unit and bytes of its file, ascending. ``verdicts``:
    whether the table of verdicts is written; it never is for more than `VERDICTS_LIMIT` balls.
    """

    scope: Scope
    checkpoint: bytes
    keys: Sequence[BookKey]
    rulebooks: Sequence[bytes]
    entries: Iterable[DossierEntry]
    balls: Iterable[BallSheet | BallMade]
    signer: NoteSigner
    tokens: Mapping[str, bytes] = field(default_factory=dict)
    did: bytes | None = None
    checklists: Sequence[bytes] = ()
    lots: Iterable[LotPage] = ()
    events: Iterable[tuple[str, bytes]] = ()
    credentials: Iterable[tuple[str, bytes]] = ()
    approval: bytes | None = None
    documents: Iterable[bytes] = ()
    verdicts: bool = True
    report: bytes | None = None


class _Parts:
    """The archive, the digest of each file written, and what the manifest counts."""

    def __init__(self, out: BinaryIO) -> None:
        self.archive = ArchiveWriter(out)
        self._digests = bytearray()
        self.counts = LayoutCounter()

    def add(self, name: str, content: bytes) -> None:
        self.archive.add(name, content)
        self._digests += hashlib.sha256(content).digest()

    def add_sums(self) -> str:
        """Write SHA256SUMS, a line for each file so far, in blocks; its own digest, 64 hex digits."""
        digest, size, crc = hashlib.sha256(), 0, 0
        for block in self._sums():
            digest.update(block)
            size, crc = size + len(block), zlib.crc32(block, crc)
        self.archive.add_blocks(SUMS, size, crc, self._sums())
        return digest.hexdigest()

    def _sums(self) -> Iterator[bytes]:
        lines: list[str] = []
        # Counted, since the archive grows by SHA256SUMS itself while its lines are written.
        for place, member in zip(range(len(self._digests) // 32), self.archive.members(), strict=False):
            lines.append(f"{self._digests[place * 32 : place * 32 + 32].hex()}  {member.name}\n")
            if len(lines) == 1_000:
                yield "".join(lines).encode()
                lines.clear()
        yield "".join(lines).encode()

    def add_one(self, sort: str, name: str, content: bytes | None) -> None:
        """Add the one file of its sort, where there is one."""
        if content is not None:
            self.add(name, content)
            self.counts.add(sort)

    def add_all(self, sort: str, form: str, files: Iterable[tuple[str, bytes]]) -> None:
        """Add files by ascending name, which ``form`` takes in. Raises DossierRejected for another order."""
        last = ""
        for name, content in files:
            _check_order(last, name, sort)
            self.add(form.format(name), content)
            self.counts.add(sort)
            last = name


def write_dossier(out: BinaryIO, content: DossierContent) -> None:
    """Write the dossier to ``out``, which need not seek.

    Raises MalformedKey when the signer is no dossier key, DossierRejected for files out of order, and the errors of the
    book for an entry or checkpoint that is none. What was written till then is no dossier.
    """
    if content.signer.purpose != "dossier":
        raise MalformedKey("key has another purpose", expected="dossier", got=content.signer.purpose)
    head = parse_checkpoint(content.checkpoint)
    parts = _Parts(out)
    parts.add(README, readme_text(head.origin).encode())
    parts.add(VERIFY_TEXT, verify_text())
    parts.add(VERIFY_PAGE, verify_page())
    parts.add(CHECKPOINT, content.checkpoint)
    parts.add_all("tokens", "tokens/{}.tsr", sorted(content.tokens.items()))
    parts.add(KEYS, format_page(key_lines(content.keys)))
    parts.add_one("did", DID, content.did)
    parts.add_all("rulebooks", "rulebooks/{}.toml", _by_digest(content.rulebooks))
    parts.add_all("checklists", "checklists/{}.toml", _by_digest(content.checklists))
    _write_entries(parts, content.entries)
    parts.add_all("lots", "lots/{}.json", ((page.lot, format_page(page)) for page in content.lots))
    table = VerdictTableWriter(VERDICTS_LIMIT if content.verdicts else 0)
    parts.add_all("balls", "balls/{}.json", _sheets(content.balls, table))
    parts.add_all("events", "events/{}.jsonld", content.events)
    parts.add_all("credentials", "credentials/{}.json", content.credentials)
    parts.add_one("approval", APPROVAL, content.approval)
    parts.add_all("documents", "documents/{}", _by_digest(content.documents))
    parts.add_one("verdicts", VERDICTS, table.text())
    parts.add_one("report", REPORT, content.report)
    _write_end(parts, content, head)


def _write_end(parts: _Parts, content: DossierContent, head: UnverifiedCheckpoint) -> None:
    manifest = Manifest(
        format="pourbook dossier",
        v=FORMAT,
        book=head.origin,
        tree_size=head.tree_size,
        scope=content.scope,
        sums=parts.add_sums(),
        counts=parts.counts.counts(),
    )
    page = format_page(manifest)
    parts.archive.add(MANIFEST, page)
    text = signed_text(head.origin, hashlib.sha256(page).hexdigest())
    parts.archive.add(SIGNATURE, sign_note(text, [content.signer]))
    parts.archive.close()


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


def _by_digest(files: Iterable[bytes]) -> Iterator[tuple[str, bytes]]:
    for raw in files:
        yield hashlib.sha256(raw).hexdigest(), raw


def _sheets(balls: Iterable[BallSheet | BallMade], table: VerdictTableWriter) -> Iterator[tuple[str, bytes]]:
    for ball in balls:
        if table.is_open:
            table.take(ball.sheet if isinstance(ball, BallMade) else ball)
        yield ball.unit, ball.raw if isinstance(ball, BallMade) else format_page(ball)


def _write_entries(parts: _Parts, entries: Iterable[DossierEntry]) -> None:
    last = -1
    for entry in entries:
        _check_order(last, entry.index, "entries")
        parts.add(f"entries/{entry.index}.json", entry.raw)
        parts.add(f"receipts/{entry.index}.tlog-proof", entry.receipt.encode())
        lines = opening_lines(entry)
        if lines:
            parts.add(f"openings/{entry.index}.jsonl", b"".join(encode(line) + b"\n" for line in lines))
        parts.counts.add("entries")
        for line in lines:
            parts.counts.add(line["outcome"])
        last = entry.index


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
