"""Material lots in the store room: bought when a mix needs more than is left, drawn oldest first."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

from fixtures_demo.days import FIRST, HOUR, MINUTE, clock, day_of, told
from fixtures_demo.story import Story
from ledger.line.materials import BatchMixed, MaterialDraw, MaterialReceived


class Material(NamedTuple):
    """A bought material: how much comes at once (kg), who sells it (invented), how long it keeps."""

    name: str
    kg: int
    supplier: str
    keeps_days: int


MATERIALS = {
    material.name: material
    for material in (
        Material("Block resin", 1000, "Supplier A", 240),
        Material("Mineral filler", 1200, "Supplier B", 700),
        Material("Hollow microspheres", 300, "Supplier B", 700),
        Material("Core resin", 1000, "Supplier A", 240),
        Material("Hardener", 120, "Supplier C", 180),
        Material("Polyol", 600, "Supplier D", 200),
        Material("Isocyanate", 400, "Supplier D", 150),
        Material("Pigment", 40, "Supplier E", 900),
    )
}

MIXES: dict[str, dict[str, float]] = {
    "Block compound": {"Block resin": 0.58, "Mineral filler": 0.40, "Hardener": 0.02},
    "Core compound": {"Core resin": 0.70, "Hollow microspheres": 0.07, "Mineral filler": 0.21, "Hardener": 0.02},
    "Shell compound": {"Polyol": 0.60, "Isocyanate": 0.37, "Pigment": 0.03},
}
"""Parts of each mix (invented)."""

DENSITY = {"Block compound": "1.62", "Core compound": "0.98", "Shell compound": "1.17"}


@dataclass
class _Open:
    """A material lot that is drawn from."""

    lot: str
    grams: int


class Stock:
    """What is left of each material lot, in grams. Mixes must be asked for in order of time."""

    def __init__(self, story: Story) -> None:
        """Empty."""
        self._story = story
        self._left: dict[str, list[_Open]] = {name: [] for name in MATERIALS}
        self._numbers = {"MT": 0, "BT": 0}

    def mix(self, compound: str, kg: float, began_ms: int, mixer: str) -> str:
        """Mix a batch; buys what is missing the afternoon before. Gives the batch's id."""
        batch = self._number("BT")
        draws: list[MaterialDraw] = []
        for material, part in MIXES[compound].items():
            draws += self._draw(material, round(kg * part * 1000), began_ms)
        ended = began_ms + 20 * MINUTE
        record = BatchMixed(
            at=told(ended),
            batch=batch,
            compound=compound,
            began_at=told(began_ms),
            mixer=mixer,
            draws=tuple(draws),
            density=DENSITY[compound],
        )
        self._story.say(ended, "moulding", f"mixed-{batch}", [record])
        return batch

    def open_next(self, material: str, at_ms: int) -> str:
        """Put what is left of a material aside and start a new lot of it; the new lot's id."""
        self._left[material].clear()
        self._receive(MATERIALS[material], at_ms)
        return self._left[material][0].lot

    def _draw(self, material: str, grams: int, at_ms: int) -> list[MaterialDraw]:
        lots, draws = self._left[material], []
        while sum(lot.grams for lot in lots) < grams:
            self._receive(MATERIALS[material], at_ms)
        while grams:
            taken = min(lots[0].grams, grams)
            draws.append(MaterialDraw(lot=lots[0].lot, kg=f"{taken / 1000:.3f}"))
            grams -= taken
            lots[0].grams -= taken
            if not lots[0].grams:
                lots.pop(0)
        return draws

    def _receive(self, material: Material, before_ms: int) -> None:
        lot = self._number("MT")
        at = max(before_ms - 15 * HOUR, clock(FIRST, "05:50"))
        record = MaterialReceived(
            at=told(at),
            lot=lot,
            material=material.name,
            kg=str(material.kg),
            supplier=material.supplier,
            supplier_lot=f"{material.supplier[-1]}{lot[3:]}-26",
            expires_on=(day_of(at) + dt.timedelta(days=material.keeps_days)).isoformat(),
        )
        self._left[material.name].append(_Open(lot, material.kg * 1000))
        self._story.say(at, "moulding", f"received-{lot}", [record])

    def _number(self, prefix: str) -> str:
        self._numbers[prefix] += 1
        return f"{prefix}-{self._numbers[prefix]:03d}"
