"""A small plant told through the application: one model with its plan, gauges, materials, and lots down to balls.

All figures are invented. Hours count from `START_MS`; the clock stands 1,000 hours later, so that nothing is ahead of it,
or follows what is told where the plant is punctual.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec

from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook
from ledger.application.signers import Signers
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.book.signing import signer_from_seed
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.line.record import Record
from ledger.line.vocabulary import RECORD_OF
from ledger.store.answer import Entered
from ledger.store.engine import CONNECTIONS, open_store
from tests.plant import counted_salts, said

ORIGIN = "book.floor.test"
GTIN = "09521234543213"
START_MS = 1_790_000_000_000
"""2026-09-21T14:13:20 UTC."""
HOUR_MS = 3_600_000
DAY_S = 86_400
OFFICE = ("quality", "station", "inspector", "desk", "auditor", "admin")

GAUGES = {
    "mass": "lb", "circumference": "in", "out_of_round": "in", "hardness": "shore_d", "roughness": "uin",
    "rg_low": "in", "rg_high": "in", "top_weight": "oz",
}  # fmt: skip
GOOD = {
    "mass": "15.1", "circumference": "26.85", "out_of_round": "0.004", "hardness": "74", "roughness": "40",
    "rg_low": "2.5", "rg_high": "2.54", "top_weight": "3",
}  # fmt: skip
WINDOWS = [
    {"stage": "block-demould", "min_s": 300},
    {"stage": "block-rest", "min_s": DAY_S},
    {"stage": "core-rest", "min_s": 4 * 3_600},
    {"stage": "final-cure", "min_s": DAY_S, "max_s": 30 * DAY_S},
]


def floor_signers() -> Signers:
    """The keys of the floor's book."""
    checkpoint = signer_from_seed(ORIGIN, hashlib.sha256(b"floor log").digest(), "checkpoint")
    return Signers(
        checkpoint, signer_from_seed(f"{ORIGIN}/dossier", hashlib.sha256(b"floor dossier").digest(), "dossier")
    )


def at(hours: float) -> str:
    """The instant so many hours after the start, in UTC."""
    return format_instant(Instant(START_MS + round(hours * HOUR_MS), 0))


def record(fields: dict[str, Any]) -> Record:
    """A record from plain JSON fields."""
    return msgspec.convert(fields, RECORD_OF[fields["kind"]])


class Floor:
    """The plant's book, open, with one account that has every role and others on request."""

    def __init__(self, folder: Path, *, punctual: bool = False, url: str = "") -> None:
        """Create the book in a file, or at ``url``, and tell its model, plan, approval, rulebook and gauges."""
        self.url = url or f"sqlite:///{folder / 'book.db'}"
        self.punctual = punctual
        self.now_ms = START_MS + (0 if punctual else 1_000 * HOUR_MS)
        self._keys = 0
        create_book(
            self.url,
            origin=ORIGIN,
            plant="Plant",
            signers=floor_signers(),
            keeper="Keeper",
            clock_ms=self.clock,
            salts=counted_salts(),
            serial_key=b"a key of the tests, and no other",
        )
        self.book = self.opened()
        self.book.start()
        self.lead = self.book.open_account("Lead", OFFICE)[0]
        self._begin()

    def clock(self) -> int:
        """The instant at which the service believes to be."""
        return self.now_ms

    def opened(self, *, connections: int = CONNECTIONS, **wiring: Any) -> Pourbook:
        """Another book over the same store, not started."""
        return Pourbook(
            open_store(self.url, connections=connections),
            origin=ORIGIN,
            signers=floor_signers(),
            label_stem="https://id.example.com",
            clock_ms=self.clock,
            **wiring,
        )

    def say(self, *records: dict[str, Any]) -> Entered:
        """Enter records together in the lead's name."""
        self._keys += 1
        if self.punctual:
            self.now_ms = max(self.now_ms, *(instant_ms(one["at"]) for one in records))
        entered: Entered = self.book.submit(said(f"k-{self._keys}", *records), self.lead).result(30)
        return entered

    def _begin(self) -> None:
        digest = shipped_rulebooks()["usbc-2026"].digest
        self.say({"kind": "rulebook-adopted", "at": at(0), "rulebook": "usbc-2026", "digest": digest})
        self.say(model("M1", GTIN), plan("M1"), approval("M1"))
        for quantity in GAUGES:
            self.say(registered(quantity), calibrated(quantity))

    def stock(self, count: int = 40) -> None:
        """A drum, a batch, and block lot BL-1 of ``count``, all as planned."""
        drum = {"kind": "material-received", "at": at(1), "lot": "DRUM", "material": "resin", "kg": "500"}
        self.say({**drum, "supplier": "Acme", "supplier_lot": "X-1", "note": "brought by Bob"})
        self.say(mixed("MIX", "DRUM", 200, 2))
        self.say(blocks("BL-1", 3, count))

    def line(self, count: int = 40) -> None:
        """The same, and core lot CL-1 and shell lot SL-1 of all of it."""
        self.stock(count)
        self.say(cores("CL-1", 30, ("BL-1", count)))
        self.say(shells("SL-1", 40, ("CL-1", count)))

    def ball(self, unit: str, serial: str, hours: float = 70, **fields: Any) -> Entered:
        """Engrave a prior number on a ball of SL-1 and measure it well; ``readings`` replaces values by quantity."""
        readings = {**GOOD, **fields.pop("readings", {})}
        return self.say(engraved(unit, serial, hours, **fields), inspected(unit, hours + 1, **readings))


def model(name: str, gtin: str, **fields: Any) -> dict[str, Any]:
    """A symmetric model."""
    said = {"kind": "model-defined", "at": at(0), "model": name, "name": f"Model {name}", "brand": "Example"}
    return {**said, "gtin": gtin, "revision": 1, "core": "symmetric", **fields}


def plan(name: str, **fields: Any) -> dict[str, Any]:
    """A plan with four windows, judged by one rulebook."""
    inspect = [{"quantity": "mass", "every": "unit"}]
    said = {"kind": "plan-set", "at": at(0), "model": name, "windows": WINDOWS, "inspect": inspect}
    return {**said, "rulebooks": ["usbc-2026"], **fields}


def approval(name: str, **fields: Any) -> dict[str, Any]:
    """An approval of revision 1 in classes 14 to 16."""
    said = {"kind": "approval-entered", "at": at(0), "model": name, "body": "usbc", "revision": 1}
    return {**said, "status": "approved", "from_on": "2026-01-01", "classes": [14, 15, 16], **fields}


def gauge_of(quantity: str) -> str:
    """The gauge of a quantity."""
    return "G-" + quantity.upper().replace("_", "-")


def registered(quantity: str) -> dict[str, Any]:
    """A gauge."""
    said = {"kind": "gauge-registered", "at": at(0), "gauge": gauge_of(quantity), "quantity": quantity}
    return {**said, "unit": GAUGES[quantity], "resolution": "0.001"}


def calibrated(quantity: str, hours: float = 0, due: float = 9_000, **fields: Any) -> dict[str, Any]:
    """A calibration that found the gauge good."""
    said = {"kind": "gauge-calibrated", "at": at(hours), "gauge": gauge_of(quantity), "as_found_good": True}
    return {**said, "due_at": at(due), **fields}


def studied(quantity: str, hours: float = 1, **fields: Any) -> dict[str, Any]:
    """A study of a gauge for mass: two operators read two pieces twice."""
    said = {"kind": "gauge-studied", "at": at(hours), "gauge": gauge_of(quantity), "unit": GAUGES[quantity]}
    readings = [[["15.00", "15.10"], ["15.02", "15.12"]], [["15.01", "15.11"], ["15.03", "15.13"]]]
    named = {"parts": ["P-1", "P-2"], "operators": ["OP-1", "OP-2"], "trials": 2, "pooled": False}
    return {**said, **named, "readings": readings, **fields}


def mixed(batch: str, lot: str, kg: int, hours: float) -> dict[str, Any]:
    """A batch of one material lot."""
    said = {"kind": "batch-mixed", "at": at(hours + 0.5), "began_at": at(hours), "batch": batch, "compound": "mix"}
    return {**said, "mixer": "MX-1", "draws": [{"lot": lot, "kg": str(kg)}]}


def _pour(kind: str, lot: str, hours: float, count: int, lasted: float = 0.25) -> dict[str, Any]:
    said = {"kind": kind, "lot": lot, "model": "M1", "line": "L-1", "mould_set": "MS-1", "mixer": "MX-1"}
    return {**said, "began_at": at(hours), "at": at(hours + lasted), "count": count}


def blocks(lot: str, hours: float, count: int, **fields: Any) -> dict[str, Any]:
    """Blocks of the batch, demoulded after a quarter of an hour."""
    return {**_pour("blocks-moulded", lot, hours, count), "batches": [{"lot": "MIX", "kg": "90"}], **fields}


def drawn(*pieces: tuple[str, int] | tuple[str, int, int, int]) -> list[dict[str, Any]]:
    """Draws of pieces: lot and count, and the positions that hold them where they are known."""
    return [dict(zip(("lot", "count", "first", "last"), piece, strict=False)) for piece in pieces]


def cores(lot: str, hours: float, *pieces: Any, **fields: Any) -> dict[str, Any]:
    """Cores of block lots."""
    said = {**_pour("cores-poured", lot, hours, sum(piece[1] for piece in pieces)), "blocks": drawn(*pieces)}
    return {**said, "batches": [{"lot": "MIX", "kg": "5"}], **fields}


def shells(lot: str, hours: float, *pieces: Any, **fields: Any) -> dict[str, Any]:
    """Shells of core lots at 15 lb, in one colour poured from the drum."""
    said = {**_pour("shells-poured", lot, hours, sum(piece[1] for piece in pieces)), "cores": drawn(*pieces)}
    colours = [{"colour": "green", "lot": "DRUM", "kg": "20"}]
    return {**said, "revision": 1, "weight_class": 15, "colours": colours, **fields}


def worked(lot: str, step: str, hours: float) -> dict[str, Any]:
    """A step on a whole lot that took half an hour."""
    said = {"kind": "lot-worked", "lot": lot, "step": step, "station": "W-1"}
    return {**said, "began_at": at(hours), "at": at(hours + 0.5)}


def engraved(unit: str, serial: str, hours: float = 70, **fields: Any) -> dict[str, Any]:
    """A prior number on a ball of SL-1."""
    said = {"kind": "ball-engraved", "at": at(hours), "unit": unit, "lot": "SL-1", "serial": serial}
    return {**said, "weight_class": 15, "station": "E-1", "scheme": "prior", **fields}


def inspected(unit: str, hours: float = 71, **values: str) -> dict[str, Any]:
    """Readings of a ball, by quantity."""
    readings = [
        {"quantity": quantity, "unit": GAUGES[quantity], "values": [value], "gauge": gauge_of(quantity)}
        for quantity, value in values.items()
    ]
    return {"kind": "inspection", "at": at(hours), "unit": unit, "station": "I-1", "readings": readings}


def held(hold: str, hours: float = 100, **fields: Any) -> dict[str, Any]:
    """A hold on a node or by rule."""
    return {"kind": "hold-placed", "at": at(hours), "hold": hold, "reason": "suspect", **fields}


def corrected(*changes: dict[str, Any], hours: float = 200) -> dict[str, Any]:
    """A correction of facts."""
    return {"kind": "correction", "at": at(hours), "reason": "typing", "changes": list(changes)}


def claimed(claim: str, hours: float = 300, **fields: Any) -> dict[str, Any]:
    """A claim of a crack over the block."""
    return {"kind": "claim-opened", "at": at(hours), "claim": claim, "mode": "crack-over-block", **fields}


def erasure(entry: int, *fields: str, hours: float = 90) -> dict[str, Any]:
    """An erasure of fields, on request."""
    said = {"kind": "erasure", "at": at(hours), "entry": entry, "fields": list(fields), "basis": "request"}
    return {**said, "reason": "asked-by-the-person"}
