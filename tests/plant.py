"""A small invented plant for tests: its first records, and registrations of balls from one shell lot."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.line.submission import Submission
from ledger.store.engine import Store
from ledger.store.writer import Writer

ORIGIN = "book.plant.test"
SIGNER: Signer = signer_from_seed(ORIGIN, bytes(range(32)))
VERIFIER = format_verifier(SIGNER.verifier)
AT = "2026-03-02T08:00:00.000+00:00"
START_MS = 1_773_000_000_000


def said(key: str, *records: dict[str, Any]) -> Submission:
    """A submission from plain JSON objects."""
    return msgspec.json.decode(json.dumps({"key": key, "records": records}), type=Submission)


def counted_salts() -> Callable[[int], Sequence[bytes]]:
    """Salts that differ from each other and are the same on each run."""
    counter = itertools.count(1)
    return lambda n: [next(counter).to_bytes(32, "big") for _ in range(n)]


def steady_clock(start: int = START_MS, step: int = 1_000) -> Callable[[], int]:
    """A clock that goes on by ``step`` milliseconds each time it is read."""
    counter = itertools.count(start, step)
    return lambda: next(counter)


def new_writer(store: Store, **options: Any) -> Writer:
    """A writer for the plant's book, not started."""
    options = {"signers": [SIGNER], "clock_ms": steady_clock(), "salts": counted_salts(), **options}
    return Writer(store, origin=ORIGIN, **options)


def opening() -> Submission:
    """Entry 0."""
    return said(
        "open", {"kind": "book-opened", "at": AT, "origin": ORIGIN, "plant": "Test plant", "verifier": VERIFIER}
    )


def line_start(lot: str = "SL-1", count: int = 2_000) -> list[Submission]:
    """From the model to a shell lot, in the order in which the line says it."""
    pour = {"model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1", "began_at": AT, "at": AT}
    draw: Any = [{"lot": "BT-1", "kg": "1"}]
    model = {
        "kind": "model-defined", "at": AT, "model": "M1", "name": "Model one", "brand": "Plant", "gtin": "09521234543213",
        "revision": 1, "core": "symmetric", "recipe": "one to one",
    }  # fmt: skip
    gauge = {
        "kind": "gauge-registered",
        "at": AT,
        "gauge": "G1",
        "quantity": "mass",
        "unit": "lb",
        "resolution": "0.01",
    }
    calibrated = {
        "kind": "gauge-calibrated", "at": AT, "gauge": "G1", "as_found_good": True,
        "due_at": "2027-03-02T08:00:00.000+00:00", "expanded": "0.01",
    }  # fmt: skip
    material = {
        "kind": "material-received", "at": AT, "lot": "MT-1", "material": "Resin", "kg": "90000", "supplier": "A supplier",
        "note": "seen by a person",
    }  # fmt: skip
    batch = {
        "kind": "batch-mixed", "at": AT, "batch": "BT-1", "compound": "Mix", "began_at": AT, "mixer": "MX1",
        "draws": [{"lot": "MT-1", "kg": "80000"}],
    }  # fmt: skip
    blocks = {**pour, "kind": "blocks-moulded", "lot": "BL-1", "count": count, "batches": draw}
    cores = {
        **pour, "kind": "cores-poured", "lot": "CL-1", "count": count, "blocks": [{"lot": "BL-1", "count": count}],
        "batches": draw,
    }  # fmt: skip
    shells = {
        **pour, "kind": "shells-poured", "lot": lot, "count": count, "revision": 1, "weight_class": 15,
        "cores": [{"lot": "CL-1", "count": count}], "colours": [{"colour": "Grey", "lot": "BT-1", "kg": "5"}],
    }  # fmt: skip
    records: list[dict[str, Any]] = [model, gauge, calibrated, material, batch, blocks, cores, shells]
    return [said(f"start-{number}", record) for number, record in enumerate(records)]


def begun(store: Store, count: int = 2_000) -> Writer:
    """A writer on the store, its line begun with a shell lot of ``count``."""
    writer = new_writer(store)
    writer.start()
    for submission in [opening(), *line_start(count=count)]:
        writer.submit(submission, "a-lead").result(30)
    return writer


def registration(number: int, *, lot: str = "SL-1", key: str | None = None) -> Submission:
    """One ball: engraved with a prior number, and weighed."""
    ball = {
        "kind": "ball-engraved", "at": AT, "unit": f"U-{number:06d}", "lot": lot, "serial": f"P{number:06d}",
        "weight_class": 15, "station": "E1", "scheme": "prior",
    }  # fmt: skip
    weighed = {
        "kind": "inspection", "at": AT, "unit": f"U-{number:06d}", "station": "E1",
        "readings": [{"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1"}],
    }  # fmt: skip
    return said(key or f"ball-{number}", ball, weighed)


def erasure(entry: int, *fields: str, **more: Any) -> dict[str, Any]:
    """An erasure of fields, on request."""
    said = {"kind": "erasure", "at": AT, "entry": entry, "fields": list(fields), "basis": "request"}
    return {**said, "reason": "asked-by-the-person", **more}
