"""A little book made by hand, and the dossier of its two balls: one measured well, one whose reading was corrected."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any

import msgspec

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import GENESIS_HASH, assemble_entry, entry_hash
from ledger.book.merkle import prove_inclusion, root
from ledger.book.note import sign_note
from ledger.book.receipt import format_receipt
from ledger.book.sealed_field import Opening
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.conformity.rulebook import parse_rulebook, rulebook_digest
from ledger.evidence.archive import ArchiveWriter
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier import DossierContent, DossierEntry, write_dossier
from ledger.evidence.dossier_format import MANIFEST, SIGNATURE, SUMS, BallSheet, FactLine, Scope, signed_text
from ledger.evidence.entry_facts import HeldEdges, fold_facts
from ledger.line.fact import Fact
from ledger.line.reading_rows import Calibration, Gauge, Measured
from ledger.line.record import Record
from ledger.line.rows import BookKey, Descent, Lot, Model, SerialRow, Unit
from ledger.line.submission import Submission, seal_submission
from ledger.tracing.back import trace_back

ORIGIN = "books.example/plant-1"
LOG = signer_from_seed(ORIGIN, hashlib.sha256(b"log key of the evidence tests").digest())
OTHER_LOG = signer_from_seed(ORIGIN, hashlib.sha256(b"another log key of the evidence tests").digest())
SEALER = signer_from_seed(f"{ORIGIN}/dossier", hashlib.sha256(b"dossier key of the evidence tests").digest(), "dossier")
KEY = format_verifier(LOG.verifier)
RECORDED = "2025-03-01T12:00:00.000+00:00"

RULEBOOK = b"""format = 1
id = "house"
body = "Plant"
edition = "1"
title = "Test limits"
made_event = "engraving"

[[requirement]]
id = "hardness"
row = "PLANT-1"
quantity = "hardness"
operator = ">="
limits = ["73"]
unit = "shore_d"
clock = "manufacture"
source = "plant standard"
provenance = "read"

[[requirement]]
id = "mass"
row = "PLANT-2"
quantity = "mass"
operator = "<="
limits = ["16"]
unit = "lb"
clock = "manufacture"
source = "plant standard"
provenance = "second-hand"
"""


def _pour(kind: str, lot: str, day: int, **more: Any) -> dict[str, Any]:
    return {
        "kind": kind,
        "lot": lot,
        "model": "ROC",
        "line": "L1",
        "mould_set": "M1",
        "mixer": "X1",
        "began_at": f"2025-02-{day:02d}T08:00:00.000+00:00",
        "at": f"2025-02-{day:02d}T09:00:00.000+00:00",
        "count": 10,
    } | more


def _inspected(unit: str, hardness: str, hour: int = 11) -> dict[str, Any]:
    readings = [
        {"quantity": "mass", "unit": "lb", "values": ["15.10"], "gauge": "G-MASS", "expanded": "0.02"},
        {"quantity": "hardness", "unit": "shore_d", "values": [hardness, "74"], "gauge": "G-HARD", "statistic": "mean"},
    ]
    at = f"2025-02-10T{hour}:00:00.000+00:00"
    return {"kind": "inspection", "unit": unit, "station": "I1", "at": at, "readings": readings}


def _gauge(gauge: str, quantity: str, unit: str) -> list[dict[str, Any]]:
    at, due = "2025-01-05T08:00:00.000+00:00", "2026-01-05T08:00:00.000+00:00"
    return [
        {"kind": "gauge-registered", "gauge": gauge, "quantity": quantity, "unit": unit, "resolution": "0.1", "at": at},
        {"kind": "gauge-calibrated", "gauge": gauge, "as_found_good": True, "due_at": due, "at": at},
    ]


def _engraved(unit: str, serial: str, weight_class: int = 15) -> dict[str, Any]:
    at = "2025-02-10T10:00:00.000+00:00"
    return {"kind": "ball-engraved", "unit": unit, "lot": "S1", "serial": serial, "weight_class": weight_class,
            "station": "E1", "at": at}  # fmt: skip


SUBMISSIONS: tuple[list[dict[str, Any]], ...] = (
    [{"kind": "book-opened", "origin": ORIGIN, "plant": "Plant 1", "verifier": KEY, "at": "2025-01-01T08:00:00.000+00:00"}],
    [
        {
            "kind": "key-introduced",
            "key": SEALER.name,
            "purpose": "dossier",
            "verifier": format_verifier(SEALER.verifier),
            "at": "2025-01-01T08:05:00.000+00:00",
        }
    ],
    [
        {
            "kind": "model-defined",
            "model": "ROC",
            "name": "Rockrose",
            "brand": "Plant",
            "gtin": "09521234543213",
            "revision": 1,
            "core": "symmetric",
            "recipe": "resin 7, filler 3",
            "note": "as agreed with A. Person",
            "at": "2025-01-02T08:00:00.000+00:00",
        }
    ],
    [*_gauge("G-MASS", "mass", "lb"), *_gauge("G-HARD", "hardness", "shore_d")],
    [
        {"kind": "material-received", "lot": "M1", "material": "resin", "kg": "200", "supplier": "Supplier A",
         "at": "2025-01-20T08:00:00.000+00:00"},
        {"kind": "batch-mixed", "batch": "K1", "compound": "block", "mixer": "X1", "draws": [{"lot": "M1", "kg": "20.5"}],
         "began_at": "2025-01-31T08:00:00.000+00:00", "at": "2025-01-31T09:00:00.000+00:00"},
    ],
    [_pour("blocks-moulded", "B1", 1, batches=[{"lot": "K1", "kg": "10"}])],
    [
        _pour("cores-poured", "C1", 3, count=5, blocks=[{"lot": "B1", "count": 5}], batches=[{"lot": "K1", "kg": "2"}]),
        _pour("cores-poured", "C2", 3, count=5, blocks=[{"lot": "B1", "count": 5}], batches=[{"lot": "K1", "kg": "2"}]),
    ],
    [
        _pour("shells-poured", "S1", 5, revision=1, weight_class=15, colours=[{"colour": "blue", "lot": "K1", "kg": "3"}],
              cores=[{"lot": "C1", "count": 5}, {"lot": "C2", "count": 5}]),
    ],
    [_engraved("U-1", "2345ACDFG"), _inspected("U-1", "75")],
    [_engraved("U-2", "2345ACDFH"), _inspected("U-2", "71")],
    [_engraved("U-9", "2345ACDFK")],
    [
        {
            "kind": "correction",
            "changes": [{"fact": "9.1", "replacement": _inspected("U-2", "76")}],
            "reason": "typing-error",
            "at": "2025-02-11T08:00:00.000+00:00",
        }
    ],
    [
        {
            "kind": "erasure",
            "entry": 2,
            "fields": ["0/note"],
            "basis": "request",
            "reason": "asked-by-the-person",
            "at": "2025-02-12T08:00:00.000+00:00",
        }
    ],
)  # fmt: skip
"""What is said, entry by entry. The reading of U-2 was typed wrongly and corrected; U-9 is a ball of no dossier; a note
about a person was erased."""


@dataclass(frozen=True)
class HandMadeBook:
    """Entries, openings and records of a book, and the note of its checkpoint."""

    raws: list[bytes]
    openings: list[tuple[Opening, ...]]
    records: list[tuple[Record, ...]]
    note: bytes

    def entry(
        self, index: int, *, erased: frozenset[str] = frozenset(), withheld: frozenset[str] = frozenset()
    ) -> DossierEntry:
        """The entry as a dossier takes it, with its receipt; openings that are not withheld or erased are told."""
        hashes = [entry_hash(raw) for raw in self.raws]
        receipt = format_receipt(index, prove_inclusion(hashes, index, len(hashes)), self.note)
        told = tuple(one for one in self.openings[index] if one.path not in erased | withheld)
        return DossierEntry(index, self.raws[index], receipt, told, erased)


def made_book(submissions: Sequence[list[dict[str, Any]]], signer: Signer = LOG) -> HandMadeBook:
    """Seal, enter and sign what is said."""
    book = HandMadeBook([], [], [], b"")
    before = GENESIS_HASH
    for index, said in enumerate(submissions):
        submission = msgspec.convert({"key": f"k{index}", "records": said}, Submission)
        sealed = seal_submission(ORIGIN, submission, partial(_salts, index))
        raw = assemble_entry(book=ORIGIN, index=index, prev=before.hex(), recorded_at=RECORDED, author="a1",
                             said_bytes=sealed.said, breaches=[])  # fmt: skip
        before = entry_hash(raw)
        book.raws.append(raw)
        book.openings.append(sealed.openings)
        book.records.append(sealed.records)
    hashes = [entry_hash(raw) for raw in book.raws]
    return replace(book, note=sign_checkpoint(ORIGIN, len(hashes), root(hashes), [signer]))


def _salts(index: int, count: int) -> list[bytes]:
    return [hashlib.sha256(b"salt %d %d" % (index, place)).digest() for place in range(count)]


@cache
def book() -> HandMadeBook:
    """The little book."""
    return made_book(SUBMISSIONS)


def standing_facts(of: HandMadeBook) -> dict[str, Fact]:
    """Every fact but corrections and erasures, with corrected bodies: written down by hand for this book."""
    facts = {
        f"{index}.{position}": Fact(index, position, record, "a1", 0)
        for index, records in enumerate(of.records)
        for position, record in enumerate(records)
    }
    del facts["12.0"]
    change = facts.pop("11.0").record.changes[0]  # type: ignore[attr-defined]  # the correction
    facts["9.1"] = Fact(9, 1, change.replacement, "a1", 0, body="11.0.0")
    return facts


def sheet(unit: str, rulebooks: Sequence[bytes] = (RULEBOOK,)) -> BallSheet:
    """The sheet of a ball, from the rows that the whole book gives."""
    return ball_sheet(ball_rows(unit), [DatedRulebook(rulebook_digest(raw), parse_rulebook(raw)) for raw in rulebooks])


def ball_rows(unit: str) -> BallRows:
    """The rows that the whole book gives of a ball."""
    facts = standing_facts(book())
    rows = fold_facts(facts.values())
    row, model = rows.held(Unit, unit), rows.held(Model, "ROC")
    assert row is not None
    assert model is not None
    calibrations = rows.all_of(Calibration)
    return BallRows(
        unit=row,
        serials=[one for one in rows.all_of(SerialRow) if one.unit == unit],
        measured=rows.held(Measured, unit),
        facts=[_line(facts[address]) for address in {"U-1": ("8.0", "8.1"), "U-2": ("9.0", "9.1")}[unit]],
        trace=trace_back(HeldEdges(rows.all_of(Descent)), row.lot, row.place),
        lots={lot.lot: lot for lot in rows.all_of(Lot)},
        model=model,
        approvals=(),
        calibrations={name: [one for one in calibrations if one.gauge == name] for name in ("G-MASS", "G-HARD")},
        gauges={one.gauge: one for one in rows.all_of(Gauge)},
    )


def _line(fact: Fact) -> FactLine:
    kind = str(type(fact.record).__struct_config__.tag)
    if fact.body:
        return FactLine(fact=fact.address, kind=kind, at=fact.record.at, body=fact.body)
    return FactLine(fact=fact.address, kind=kind, at=fact.record.at)


@cache
def book_keys() -> tuple[BookKey, ...]:
    """The keys of the little book."""
    return tuple(fold_facts(standing_facts(book()).values()).all_of(BookKey))


def content(**more: Any) -> DossierContent:
    """What the dossier of U-1 and U-2 holds; the supplier is withheld, the note about a person erased."""
    entries = [book().entry(index) for index in (*range(10), 11, 12)]
    entries[2] = book().entry(2, erased=frozenset({"0/note"}))
    entries[4] = book().entry(4, withheld=frozenset({"0/supplier"}))
    fields: dict[str, Any] = {
        "scope": Scope(kind="serials", words="serials 2345ACDFG and 2345ACDFH"),
        "checkpoint": book().note,
        "keys": book_keys(),
        "rulebooks": (RULEBOOK,),
        "entries": entries,
        "balls": [sheet("U-1"), sheet("U-2")],
        "signer": SEALER,
    }
    return DossierContent(**(fields | more))


def written(of: DossierContent) -> bytes:
    """The bytes of a dossier."""
    out = io.BytesIO()
    write_dossier(out, of)
    return out.getvalue()


@cache
def dossier() -> bytes:
    """The good dossier."""
    return written(content())


def members(raw: bytes) -> dict[str, bytes]:
    """The files of a dossier by name, in its order."""
    with zipfile.ZipFile(io.BytesIO(raw)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def archived(files: dict[str, bytes]) -> bytes:
    """An archive of these files as they are."""
    out = io.BytesIO()
    archive = ArchiveWriter(out)
    for name, raw in files.items():
        archive.add(name, raw)
    archive.close()
    return out.getvalue()


def resealed(
    files: dict[str, bytes], signer: Signer = SEALER, stated: Mapping[str, Any] | None = None, origin: str = ORIGIN
) -> bytes:
    """The files under new digests and a new signature: what someone who holds the dossier key can make.

    ``stated`` goes into the manifest; ``counts`` of it are those that change.
    """
    parts = {name: raw for name, raw in files.items() if name not in (SUMS, MANIFEST, SIGNATURE)}
    sums = b"".join(f"{hashlib.sha256(raw).hexdigest()}  {name}\n".encode() for name, raw in parts.items())
    said = msgspec.json.decode(files[MANIFEST])
    told = dict(stated or {})
    told["counts"] = said["counts"] | told.get("counts", {})
    manifest = said | {"sums": hashlib.sha256(sums).hexdigest()} | told
    page = msgspec.json.encode(manifest) + b"\n"
    text = signed_text(origin, hashlib.sha256(page).hexdigest())
    return archived({**parts, SUMS: sums, MANIFEST: page, SIGNATURE: sign_note(text, [signer])})
