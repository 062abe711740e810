"""What a report is made from: the files of a dossier, read back out of it, and a little that is drawn beside.

So a report says of balls, limits and proofs what the dossier inside it says.  Nothing is checked here: `verifier` does
that, on the dossier that holds the report.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import msgspec

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.note import MAX_NOTE_BYTES, NoteSignature, parse_note
from ledger.conformity.rulebook import Rulebook, parse_rulebook
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import NotFound, TooLarge
from ledger.evidence.approval_sheet import ApprovalPage
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import (
    APPROVAL,
    CHECKPOINT,
    KEYS,
    MANIFEST,
    MAX_APPROVAL_BYTES,
    MAX_KEYS_BYTES,
    MAX_SHEET_BYTES,
    BallSheet,
    KeyLine,
    Manifest,
    parse_page,
)
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.time_token import MAX_RESPONSE_BYTES
from ledger.line.fact import parse_address

MOST_BALLS = 500
"""Balls of one report: some two thousand pages."""

MOST_BYTES = 100_000_000
"""Bytes of the dossier that a report takes into itself."""

_MAX_MANIFEST_BYTES = 65_536
_COSIGNATURE_BYTES = 8 + 64
_LATEST_SECONDS = 253_402_300_800  # the end of the year 9999


@dataclass(frozen=True, slots=True)
class CureSpan:
    """How long one stage of a ball lasted, and the window that the plan sets for it, in seconds.

    ``stage``: such as ``block-demould``; ``began`` and ``ended`` are instants of the book's form.  ``kept`` is None where
    no window was set.
    """

    stage: str
    lot: str
    began: str
    ended: str
    elapsed_s: int
    least_s: int | None = None
    most_s: int | None = None
    kept: bool | None = None
    certain: bool = True
    temperature: str = ""


@dataclass(frozen=True, slots=True)
class LotLink:
    """The lower lot drew from the upper one, for certain or possibly for the ball that is told of."""

    lower: str
    upper: str
    certain: bool


@dataclass(frozen=True, slots=True)
class Background:
    """What is drawn of a ball beside its sheet. ``names``: a word for a lot, such as its material."""

    cures: tuple[CureSpan, ...] = ()
    links: tuple[LotLink, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TimeToken:
    """A time stamp over the checkpoint: the name that the dossier has for its authority, and the instant it states."""

    name: str
    at: dt.datetime | None


@dataclass(frozen=True, slots=True)
class Cosigner:
    """A signature under the checkpoint that is not the book's own; ``at``: the instant that it states, if it does."""

    name: str
    at: dt.datetime | None


@dataclass(frozen=True, slots=True)
class ReportParts:
    """A dossier as a report tells it. ``note``: its checkpoint, whole; ``root``: 32 bytes.

    ``said_at``: the instants at which the facts of the approval file were said, by their addresses.
    """

    manifest: Manifest
    note: str
    root: bytes
    cosigners: tuple[Cosigner, ...]
    keys: tuple[KeyLine, ...]
    tokens: tuple[TimeToken, ...]
    rulebooks: Mapping[str, Rulebook]
    sheets: tuple[BallSheet, ...]
    approval: ApprovalPage | None = None
    said_at: Mapping[str, str] = field(default_factory=dict)


class _Said(msgspec.Struct):
    at: str = ""


class _Records(msgspec.Struct):
    records: list[_Said]


class _Entry(msgspec.Struct):
    said: _Records


def read_parts(dossier: bytes) -> ReportParts:
    """The parts of a dossier. Raises TooLarge, NotFound for one without balls, and MalformedDossier."""
    if len(dossier) > MOST_BYTES:
        raise TooLarge("dossier is too large for a report", expected=f"at most {MOST_BYTES} bytes", got=len(dossier))
    archive = Archive(io.BytesIO(dossier))
    layout = parse_layout(archive.names)
    check_balls(len(layout.units))
    note = archive.read(CHECKPOINT, MAX_NOTE_BYTES)
    approval = _approval_of(archive) if layout.approval else None
    head = parse_checkpoint(note)
    return ReportParts(
        manifest=parse_page(archive.read(MANIFEST, _MAX_MANIFEST_BYTES), Manifest, MANIFEST),
        note=note.decode(),
        root=head.root_hash,
        cosigners=tuple(_cosigner(line) for line in parse_note(note).signatures if line.name != head.origin),
        keys=parse_page(archive.read(KEYS, MAX_KEYS_BYTES), tuple[KeyLine, ...], KEYS),
        tokens=tuple(
            TimeToken(name, _stated_at(archive.read(f"tokens/{name}.tsr", MAX_RESPONSE_BYTES)))
            for name in layout.tokens
        ),
        rulebooks={
            digest: parse_rulebook(archive.read(f"rulebooks/{digest}.toml", LARGEST_FILE), "rulebook")
            for digest in layout.rulebooks
        },
        sheets=tuple(
            parse_page(archive.read(f"balls/{unit}.json", MAX_SHEET_BYTES), BallSheet, f"balls/{unit}.json")
            for unit in layout.units
        ),
        approval=approval,
        said_at={} if approval is None else _said_at(archive, approval),
    )


def _approval_of(archive: Archive) -> ApprovalPage:
    return parse_page(archive.read(APPROVAL, MAX_APPROVAL_BYTES), ApprovalPage, APPROVAL)


def _said_at(archive: Archive, page: ApprovalPage) -> dict[str, str]:
    """When the facts by which a file went on were said, as far as their entries are in the dossier."""
    facts = {line.fact for line in page.signatures} | {line.fact for line in page.hand_overs}
    facts |= {line.fact for line in page.replies} | {line.fact for line in page.changes}
    found: dict[str, str] = {}
    for fact in facts:
        index, position = parse_address(fact)
        name = f"entries/{index}.json"
        if name in archive:
            records = msgspec.json.decode(archive.read(name, MAX_ENTRY_BYTES), type=_Entry).said.records
            found[fact] = records[position].at
    return found


def check_balls(count: int) -> None:
    """So many balls fit into a report. Raises NotFound for none, TooLarge."""
    if not count:
        raise NotFound("a report needs a ball", mend="widen the selection, or leave the report out")
    if count > MOST_BALLS:
        raise TooLarge(
            "too many balls for one report",
            expected=f"at most {MOST_BALLS}",
            got=count,
            where="report",
            mend="leave the report out, or ask for fewer balls at once: the files alone have no such limit",
        )


def _cosigner(line: NoteSignature) -> Cosigner:
    # C2SP tlog-cosignature: the signature begins with the time in seconds, eight bytes, big-endian.
    stated = int.from_bytes(line.signature[:8], "big") if len(line.signature) == _COSIGNATURE_BYTES else None
    readable = stated is not None and stated < _LATEST_SECONDS
    return Cosigner(line.name, dt.datetime.fromtimestamp(stated or 0, dt.UTC) if readable else None)


def _stated_at(response: bytes) -> dt.datetime | None:
    """The instant that a time stamp states, unchecked; None where it cannot be read."""
    from asn1crypto import tsp  # noqa: PLC0415  # comes with the extra

    try:
        token = tsp.TimeStampResp.load(response)["time_stamp_token"]["content"]
        at = token["encap_content_info"]["content"].parsed["gen_time"].native
    except (ValueError, TypeError, KeyError):
        return None
    return at if isinstance(at, dt.datetime) else None
