"""The invented plant that is measured: its book, its lots, and registrations of balls by number.

Ball ``n`` belongs to shell lot ``n // 2,000`` and bears the book's n-th own serial, so any process can say any ball
without asking.  A registration is one entry: the engraving, and an inspection of eight readings.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from ledger.access.tokens import Account
from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook, open_book, wall_clock_ms
from ledger.application.signers import Signers, dossier_key_name
from ledger.book.canonical import encode_typed
from ledger.book.envelope import SAID_TYPE, sign_envelope
from ledger.book.instant import Instant, format_instant
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.line.serial import next_serials
from ledger.line.submission import Signed, Submission
from ledger.line.vocabulary import AnyRecord
from ledger.store.pen import share_pen
from ops.bench.storage import url_of

ORIGIN = "book.measured.example"
LABEL_STEM = "https://id.example.com"
LOT = 2_000
"""Balls in a shell lot."""

SERIALS = 1_000
"""Serials in one allotment."""

HOUR_MS = 3_600_000
_SERIAL_KEY = bytes(range(32))
_RULEBOOK = "usbc-2026"

READINGS = (
    ("mass", "lb", 1505, 26, 2),
    ("circumference", "in", 26_800, 100, 3),
    ("out_of_round", "in", 1, 8, 3),
    ("hardness", "shore_d", 73, 6, 0),
    ("roughness", "uin", 30, 40, 0),
    ("rg_low", "in", 2_480, 30, 3),
    ("rg_high", "in", 2_520, 30, 3),
    ("top_weight", "oz", 250, 100, 2),
)
"""Quantity and unit of the eight readings; the lowest value, how many steps there are above it, decimals of a step."""

SIGNERS = Signers(
    checkpoint=signer_from_seed(ORIGIN, b"\x01" * 32),
    dossier=signer_from_seed(dossier_key_name(ORIGIN), b"\x02" * 32, "dossier"),
)
"""Keys of the measured book alone: anyone can make them."""

STATION = signer_from_seed("ENGRAVER-1", b"\x03" * 32, "station")
"""The key of the station that says balls, in a plant whose stations sign."""

_records = msgspec.json.Decoder(tuple[AnyRecord, ...]).decode


class _Said(msgspec.Struct, frozen=True):
    """What a station signs."""

    book: str
    key: str
    records: tuple[AnyRecord, ...]


class Plant(msgspec.Struct, frozen=True, kw_only=True):
    """What a process must know to speak to a measured book: kept as JSON beside it. ``signed``: its station signs balls."""

    url: str
    account: str
    token: str
    began_ms: int
    serials_from: int = 0
    signed: bool = False

    def keeper(self) -> Account:
        """The account that says everything."""
        return Account(self.account, ("admin", "quality"))


def create_plant(folder: Path, *, signed: bool = False) -> Plant:
    """Create a book in the store of a folder, with the plant's models, gauges and materials, and no ball."""
    folder.mkdir(parents=True, exist_ok=True)
    url = url_of(folder)
    created = create_book(
        url, origin=ORIGIN, plant="Measured", signers=SIGNERS, keeper="Keeper", serial_key=_SERIAL_KEY
    )
    began_ms = wall_clock_ms() - 60 * 24 * HOUR_MS
    plant = Plant(url=url, account=created.account.account, token=created.token, began_ms=began_ms, signed=signed)
    book = open_plant(plant)
    try:
        say(book, plant, _beginnings(plant))
    finally:
        book.close()
    keep_plant(folder, plant)
    return plant


def keep_plant(folder: Path, plant: Plant) -> None:
    """Write what is known of a plant beside its book."""
    (folder / "plant.json").write_bytes(msgspec.json.encode(plant))


def read_plant(folder: Path) -> Plant:
    """What `keep_plant` wrote, for the book where it lies now."""
    plant = msgspec.json.decode((folder / "plant.json").read_bytes(), type=Plant)
    return msgspec.structs.replace(plant, url=url_of(folder))


def open_plant(plant: Plant, pen: Path | None = None, **options: Any) -> Pourbook:
    """Open and start the plant's book; ``pen``: the folder in which it shares a pen with other processes."""
    book = open_book(plant.url, origin=ORIGIN, signers=SIGNERS, label_stem=LABEL_STEM, **options)
    if pen is not None:
        share_pen(book.store, pen)
    book.start()
    return book


def say(book: Pourbook, plant: Plant, bodies: list[tuple[str, bytes]]) -> None:
    """Say submissions in order and wait for all. Raises what refused one."""
    keeper = plant.keeper()
    futures = [book.submit(Submission(key=key, records=_records(body)), keeper) for key, body in bodies]
    for future in futures:
        future.result()


def make_ready(book: Pourbook, plant: Plant, first: int, count: int) -> None:
    """Enter the shell lots and the serials that balls ``first`` to ``first + count`` need, as far as they are new.

    ``first`` and every earlier end must be multiples of 2,000, as `ready_end` gives them.
    """
    end = ready_end(first + count)
    say(book, plant, [_pour(plant, lot) for lot in range(first // LOT, end // LOT)])
    say(book, plant, [_allotment(plant, number) for number in range(first // SERIALS, end // SERIALS)])


def ready_end(balls: int) -> int:
    """The number of balls that whole lots hold which hold this many."""
    return -(-balls // LOT) * LOT


def registrations(plant: Plant, first: int, count: int) -> Iterator[tuple[str, bytes]]:
    """Key and records (JSON array) of the registrations of balls ``first`` to ``first + count``."""
    serials = next_serials(_SERIAL_KEY, first, count)
    for number, serial in zip(range(first, first + count), serials, strict=True):
        at = plant.began_ms + 1_000 * HOUR_MS + number
        unit = f"U{number:09d}"
        engraved = {
            "kind": "ball-engraved", "at": _at(at), "unit": unit, "lot": f"S{number // LOT}", "serial": serial,
            "weight_class": 15, "station": "ENGRAVER-1",
        }  # fmt: skip
        inspected = {
            "kind": "inspection", "at": _at(at + 1), "unit": unit, "station": "BENCH-1", "readings": _readings(number),
        }  # fmt: skip
        yield f"ball-{number}", msgspec.json.encode([engraved, inspected])


def submissions(plant: Plant, first: int, count: int) -> list[Submission]:
    """The same as values, as the service's decoder gives them; signed by the station where it signs."""
    said = [Submission(key=key, records=_records(body)) for key, body in registrations(plant, first, count)]
    return [_signed(one) for one in said] if plant.signed else said


def _signed(submission: Submission) -> Submission:
    said = encode_typed(_Said(book=ORIGIN, key=submission.key, records=submission.records))
    return msgspec.structs.replace(
        submission, signed=Signed(said=said, envelope=sign_envelope(SAID_TYPE, said, STATION))
    )


def _at(ms: int) -> str:
    return format_instant(Instant(ms, 0))


def _readings(number: int) -> list[dict[str, Any]]:
    """Eight readings that differ from ball to ball, within what the gauges resolve."""
    return [
        {"quantity": quantity, "unit": unit, "gauge": _gauge(quantity),
         "values": [f"{(low + number * (7 + place) % steps) / 10**decimals:.{decimals}f}"]}
        for place, (quantity, unit, low, steps, decimals) in enumerate(READINGS)
    ]  # fmt: skip


def _gauge(quantity: str) -> str:
    return "G-" + quantity.upper().replace("_", "-")


def _beginnings(plant: Plant) -> list[tuple[str, bytes]]:
    at = _at(plant.began_ms)
    due = _at(plant.began_ms + 10_000 * HOUR_MS)
    records: list[dict[str, Any]] = [
        {"kind": "rulebook-adopted", "rulebook": _RULEBOOK, "digest": shipped_rulebooks()[_RULEBOOK].digest},
        {"kind": "model-defined", "model": "M1", "name": "Marlin", "brand": "Measured", "gtin": "09520123456788",
         "revision": 1, "core": "symmetric"},
        {"kind": "plan-set", "model": "M1", "windows": [{"stage": "final-cure", "min_s": 86_400}],
         "inspect": [{"quantity": quantity, "every": "unit"} for quantity, *_ in READINGS],
         "rulebooks": [_RULEBOOK]},
        {"kind": "approval-entered", "model": "M1", "body": "usbc", "revision": 1, "status": "approved",
         "from_on": "2020-01-01", "classes": [14, 15, 16]},
        {"kind": "material-received", "lot": "R1", "material": "resin", "kg": "900000000", "supplier": "A supplier",
         "supplier_lot": "X1"},
        {"kind": "batch-mixed", "batch": "B1", "compound": "mix", "began_at": at, "mixer": "MX1",
         "draws": [{"lot": "R1", "kg": "800000000"}]},
    ]  # fmt: skip
    for quantity, unit, *_ in READINGS:
        gauge = _gauge(quantity)
        records.append(
            {"kind": "gauge-registered", "gauge": gauge, "quantity": quantity, "unit": unit, "resolution": "0.001"}
        )
        records.append({"kind": "gauge-calibrated", "gauge": gauge, "as_found_good": True, "due_at": due})
    if plant.signed:
        verifier = format_verifier(STATION.verifier)
        records.append({"kind": "key-introduced", "key": STATION.name, "purpose": "station", "verifier": verifier})
    return [(f"begin-{place}", msgspec.json.encode([{"at": at, **record}])) for place, record in enumerate(records)]


def _pour(plant: Plant, number: int) -> tuple[str, bytes]:
    """Blocks, cores and shells of one lot, said together."""

    def pour(kind: str, lot: str, hour: int, **more: Any) -> dict[str, Any]:
        began, at = (_at(plant.began_ms + hour * HOUR_MS + minutes * 60_000) for minutes in (0, 20))
        made = {"lot": lot, "model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1", "count": LOT}
        return {"kind": kind, "at": at, "began_at": began, **made, **more}

    batch = [{"lot": "B1", "kg": "5"}]
    blocks, cores, shells = f"BL{number}", f"C{number}", f"S{number}"
    records = [
        pour("blocks-moulded", blocks, 10, batches=batch),
        pour("cores-poured", cores, 40, batches=batch, blocks=[{"lot": blocks, "count": LOT}]),
        pour("shells-poured", shells, 80, revision=1, weight_class=15, cores=[{"lot": cores, "count": LOT}],
             colours=[{"colour": "green", "lot": "B1", "kg": "5"}]),
    ]  # fmt: skip
    return f"pour-{number}", msgspec.json.encode(records)


def _allotment(plant: Plant, number: int) -> tuple[str, bytes]:
    first = number * SERIALS
    serials = next_serials(_SERIAL_KEY, first, SERIALS)
    at = _at(plant.began_ms + 900 * HOUR_MS)
    record = {"kind": "serials-allotted", "at": at, "station": "ENGRAVER-1", "first": first, "serials": serials}
    return f"allot-{number}", msgspec.json.encode([record])
