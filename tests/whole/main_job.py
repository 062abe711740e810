"""The main job as a client tells it over HTTP: from one drum of resin to engraved balls that left the house."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

RULEBOOK = "usbc-2026"
GTIN = "09521234543213"  # GS1's range for examples, 952
HOUR = 3600
DAY = 24 * HOUR

FIRST = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=20)
"""The first day of the story, near enough that nothing in it lies ahead of the clock."""

GAUGES = {
    "mass": ("G-MASS", "lb", "0.01", "15.06"),
    "circumference": ("G-CIRC", "in", "0.003", "26.850"),
    "out_of_round": ("G-ROUND", "in", "0.0004", "0.0031"),
    "hardness": ("G-HARD", "shore_d", "1.0", "76.0"),
    "roughness": ("G-ROUGH", "uin", "3", "34"),
    "rg_low": ("G-RG-LOW", "in", "0.002", "2.488"),
    "rg_high": ("G-RG-HIGH", "in", "0.002", "2.530"),
}
"""Gauge, unit, expanded uncertainty and a good value of each quantity; invented figures."""


def on(day: int, clock: str = "08:00") -> str:
    """An instant on a day of the story, the first being 1."""
    return f"{(FIRST + timedelta(days=day - 1)).date()}T{clock}:00.000+00:00"


def readings(**changed: str) -> list[dict[str, Any]]:
    """One reading of each quantity; those named take another value."""
    return [
        {"quantity": name, "unit": unit, "values": [changed.get(name, value)], "gauge": gauge}
        for name, (gauge, unit, _, value) in GAUGES.items()
    ]


def model_records(digest: str) -> list[dict[str, Any]]:
    """A model with its plan, the rulebook that it is judged by, and a body's approval."""
    windows = [
        {"stage": "block-rest", "min_s": DAY},
        {"stage": "shell-demould", "min_s": 300},
        {"stage": "final-cure", "min_s": DAY},
    ]
    inspect = [{"quantity": name, "every": "unit"} for name in GAUGES]
    return [
        {
            "kind": "model-defined", "at": on(1), "model": "M1", "name": "Model one", "brand": "Plant", "gtin": GTIN,
            "revision": 1, "core": "symmetric", "recipe": "one to one",
        },
        {"kind": "plan-set", "at": on(1), "model": "M1", "windows": windows, "inspect": inspect, "rulebooks": [RULEBOOK]},
        {"kind": "rulebook-adopted", "at": on(1), "rulebook": RULEBOOK, "digest": digest},
        {
            "kind": "approval-entered", "at": on(1), "model": "M1", "body": "a-body", "revision": 1, "status": "approved",
            "from_on": on(1)[:10], "classes": [14, 15, 16],
        },
    ]  # fmt: skip


def gauge_records() -> list[dict[str, Any]]:
    """The gauges, each found good on the first day."""
    records: list[dict[str, Any]] = []
    for name, (gauge, unit, expanded, _) in GAUGES.items():
        records.append({
            "kind": "gauge-registered", "at": on(1), "gauge": gauge, "quantity": name, "unit": unit, "resolution": "0.001",
        })  # fmt: skip
        records.append({
            "kind": "gauge-calibrated", "at": on(1), "gauge": gauge, "as_found_good": True, "due_at": on(400),
            "expanded": expanded,
        })  # fmt: skip
    return records


def lot_records(number: int = 1, blocks: int = 6) -> list[dict[str, Any]]:
    """A drum, a batch, blocks, cores and shells: lots MT-n, BT-n, BL-n, CL-n, SL-n."""
    batch = [{"lot": f"BT-{number}", "kg": "20"}]
    pour = {"model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1", "count": blocks, "batches": batch}
    colours = [{"colour": "Grey", "lot": f"BT-{number}", "kg": "10"}]
    return [
        {
            "kind": "material-received", "at": on(2), "lot": f"MT-{number}", "material": "Resin", "kg": "200",
            "supplier": "A supplier", "note": "signed for by a person",
        },
        {
            "kind": "batch-mixed", "began_at": on(3, "06:00"), "at": on(3, "06:30"), "batch": f"BT-{number}",
            "compound": "Mix", "mixer": "MX1", "draws": [{"lot": f"MT-{number}", "kg": "150"}],
        },
        {**pour, "kind": "blocks-moulded", "lot": f"BL-{number}", "began_at": on(3), "at": on(3, "08:06")},
        {
            **pour, "kind": "cores-poured", "lot": f"CL-{number}", "began_at": on(5), "at": on(5, "08:30"),
            "blocks": [{"lot": f"BL-{number}", "count": blocks}],
        },
        {
            "kind": "shells-poured", "lot": f"SL-{number}", "model": "M1", "line": "L1", "mould_set": "MS2", "mixer": "MX1",
            "count": blocks, "revision": 1, "weight_class": 15, "began_at": on(7), "at": on(7, "08:06"),
            "cores": [{"lot": f"CL-{number}", "count": blocks}], "colours": colours,
        },
    ]  # fmt: skip


def ball(unit: str, serial: str, *, lot: str = "SL-1", **changed: str) -> dict[str, Any]:
    """The body of a registration: engraved and measured on day 10."""
    return {
        "unit": unit, "lot": lot, "serial": serial, "weight_class": 15, "station": "E1", "at": on(10),
        "readings": readings(**changed), "surface": "polished",
    }  # fmt: skip


class Client:
    """One client of a service, with a token and keys of its own."""

    def __init__(self, address: str, token: str) -> None:
        """Nothing is sent yet."""
        self.http = httpx.Client(base_url=address, headers={"authorization": f"Bearer {token}"}, timeout=60)
        self._keys = itertools.count(1)

    def say(self, *records: dict[str, Any]) -> httpx.Response:
        """Say records."""
        return self.post("/submissions", {"records": records})

    def post(self, path: str, body: Any, key: str | None = None) -> httpx.Response:
        """Post a body under a fresh key, or under the one given."""
        headers = {"idempotency-key": key or f"job-{next(self._keys)}"}
        return self.http.post(path, json=body, headers=headers)

    def get(self, path: str, **query: str) -> Any:
        """What a question is answered with; the status must be 200."""
        answer = self.http.get(path, params=query)
        assert 200 == answer.status_code, answer.text
        return answer.json()
