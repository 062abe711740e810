"""Records of every kind, well formed and made at random: they name what there is as often as what there is not."""

from __future__ import annotations

import random
import re
from typing import Any

import msgspec
from msgspec import inspect

from ledger.line.record import Record
from ledger.line.vocabulary import RECORD_OF
from ledger.store.answer import Entered

LOTS = ("MT-1", "BT-1", "BL-1", "CL-1", "SL-1")
BALLS = tuple(f"U-{number:06d}" for number in range(1, 9))
KNOWN = {
    "model": ("M1",), "lot": LOTS, "batch": LOTS, "into": LOTS, "unit": BALLS, "units": BALLS, "gauge": ("G1",),
    "serial": tuple(f"P{number:06d}" for number in range(1, 9)), "replacement": BALLS, "claim": ("C1", "C2"),
    "quantity": ("mass", "hardness"), "node": (*(f"lot:{lot}" for lot in LOTS), *(f"unit:{ball}" for ball in BALLS)),
    "fields": ("0/note", "1/note", "0/supplier", "0/changes/0/replacement/note"), "account": ("a-0", "a-1", "a-9"),
    "hold": ("H1", "H2"), "holds": ("H1", "H2"), "shipment": ("SH-1", "SH-2"),
    "case": ("C-1", "C-2"), "consignee": ("SHOP-1", "SHOP-2"), "to": ("SHOP-1", "M-2"),
}  # fmt: skip
"""By the name of a field, what the book of these tests holds or soon will."""

INSTANTS = (
    *("2026-03-02T08:00:00.000+00:00", "2026-03-03T09:30:00.000+05:30", "2026-03-04T08:00:00.000-11:00") * 3,
    "2026-03-01T08:00:00.000+00:00", "2027-03-02T08:00:00.000+00:00", "2026-02-29T08:00:00.000+00:00",
)  # fmt: skip
TEXTS = (
    "mass", "hardness", "suspect", "lb", "shore_d", "usbc-2026", "2026-03-02", "2026-03-31", "0.1", "1.0", "15.05", "-1.5",
    "0", "3", "09521234543213", "a" * 64, "plant", "any text", "\u00e9", "E1", "SL-1", "unit:NONE",
)  # fmt: skip


class AnyRecord:
    """Makes records; the same seed makes the same ones."""

    def __init__(self, seed: int) -> None:
        """Start the dice."""
        self.dice = random.Random(seed)
        self.addresses = ["0.0", "1.0", "8.0"]
        self.holds: list[str] = []
        self._fresh = 0

    def heard(self, entered: Entered) -> None:
        """What was entered can be spoken about from now on."""
        self.addresses += entered.addresses
        for position, breaches in enumerate(entered.breaches):
            self.holds += [f"B{entered.index}.{position}.{number}" for number in range(len(breaches))]

    def record(self) -> Record:
        """One record of any kind that fits its type."""
        return self._record(self.dice.choice(sorted(RECORD_OF)))

    def _record(self, kind: str) -> Record:
        while True:
            said = self._of(inspect.type_info(RECORD_OF[kind]), "")
            try:
                return msgspec.convert(said, RECORD_OF[kind])
            except msgspec.ValidationError:
                continue

    def _of(self, info: Any, name: str) -> Any:
        match info:
            case inspect.Metadata():
                return self._of(info.type, name)
            case inspect.StructType():
                return self._struct(info)
            case inspect.UnionType():
                return self._of(self.dice.choice(info.types), name)
            case inspect.VarTupleType():
                length = self.dice.choice((1, 1, 1, 2, 3))
                return [self._of(info.item_type, name) for _ in range(max(length, info.min_length or 0))]
            case inspect.LiteralType():
                return self.dice.choice(info.values)
            case inspect.BoolType():
                return self.dice.random() < 0.5
            case inspect.IntType():
                least, most = info.ge or 0, info.le if info.le is not None else 100
                return self.dice.choice((least, most, min(most, least + self.dice.randint(0, 5)), min(most, 15)))
            case inspect.StrType():
                return self._text(info, name)
        message = f"unreachable: no value for {info}"
        raise TypeError(message)

    def _struct(self, info: Any) -> dict[str, Any]:
        said = {info.tag_field: info.tag} if info.tag_field else {}
        for field in info.fields:
            if field.required or self.dice.random() < 0.4:
                said[field.encode_name] = self._of(field.type, field.name)
        return said

    def _text(self, info: Any, name: str) -> str:
        if name == "at" or name.endswith("_at"):
            return self.dice.choice(INSTANTS)
        if name in {"fact", "facts", "because", "plan"}:
            return self.dice.choice(self.addresses)
        for pool in self._pools(name):
            fit = [text for text in pool if info.pattern is None or re.match(info.pattern, text)]
            if fit:
                return self.dice.choice(fit)
        return self.dice.choice(TEXTS)

    def _pools(self, name: str) -> list[tuple[str, ...]]:
        """Where a text is taken from first: mostly from what is known by that name, at times a name never used before."""
        known: list[tuple[str, ...]] = (
            [(*KNOWN.get(name, ()), *self.holds)] if "hold" in name else [KNOWN.get(name, ())]
        )
        if self.dice.random() < 0.3:
            self._fresh += 1
            known.insert(0, (f"N-{self._fresh}",))
        return [*known, TEXTS]
