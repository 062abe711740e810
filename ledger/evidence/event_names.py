"""Addresses and numbers of what events name: balls, lots, places, records, and the events themselves.

A ball is ``<stem>/01/{gtin}/21/{serial}`` and a lot of finished balls ``<stem>/01/{gtin}/10/{lot}`` (GS1 Digital Link).
What has no GTIN (drums, batches, blocks, cores, gauges, stations) has an address of our own, ``<stem>/lots/{lot}#lot``: the
fragment says that the thing is meant and not the page about it.  It also keeps one of the programs that work out event
hashes from taking ``.../RES-7`` for a date.

The id of an event is made from the book's origin, where the fact's body stands, what the event is about, and its part, so
it is the same in every document, whoever asks and whenever (UUID version 5, RFC 9562 section 5.5).
"""

from __future__ import annotations

import base64
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from hashlib import sha1

from ledger.errors import MalformedLink
from ledger.evidence.event_shapes import Quantity
from ledger.evidence.own_terms import stem_address, terms_address
from ledger.line.gs1 import format_link, lot_link
from ledger.line.rows import Unit


@dataclass(frozen=True, slots=True)
class Plant:
    """Where the addresses begin, and of which book they are. Raises MalformedLink for a stem that is none."""

    stem: str
    origin: str
    base: str = field(init=False)
    terms: str = field(init=False)
    _namespace: uuid.UUID = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Work out what every address begins with."""
        object.__setattr__(self, "base", stem_address(self.stem))
        object.__setattr__(self, "terms", terms_address(self.stem))
        object.__setattr__(self, "_namespace", uuid.uuid5(uuid.NAMESPACE_URL, f"{self.origin}/events"))

    def term(self, word: str) -> str:
        """The address of one of our own words."""
        return f"{self.terms}{word}"

    def thing(self, sort: str, name: str) -> str:
        """The address of a thing of the plant: ``station``, ``gauge``, ``lot``, ``ball``, ``hold``... and its id."""
        return f"{self.base}/{sort}s/{name}#{sort}"

    def record(self, where: str) -> str:
        """The address of a record in its entry; ``where`` is ``index.position``, or with a third number a change in it."""
        index, _, rest = where.partition(".")
        position, _, change = rest.partition(".")
        return f"{self.base}/entries/{index}#record-{position}" + (f"-change-{change}" if change else "")

    def event_id(self, where: str, subject: str, part: str = "") -> str:
        """The id of an event: ``where`` as in `record`, ``subject`` a node (``lot:SL-104``), ``part`` where a fact has more."""
        return f"urn:uuid:{uuid5_text(self._namespace.bytes, f'{where}/{subject}/{part}')}"


def uuid5_text(namespace: bytes, name: str) -> str:
    """The text of ``uuid.uuid5``, at a third of its cost. Source: RFC 9562 section 5.5."""
    digest = bytearray(sha1(namespace + name.encode(), usedforsecurity=False).digest()[:16])
    digest[6] = digest[6] & 0x0F | 0x50
    digest[8] = digest[8] & 0x3F | 0x80
    text = digest.hex()
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


@dataclass(frozen=True, slots=True)
class Named:
    """Names within one document. ``stages``: the stage of each lot that it is about; ``gtins``: the GTIN of the shell lots."""

    plant: Plant
    stages: Mapping[str, str]
    gtins: Mapping[str, str]

    def lot(self, name: str) -> str:
        """The address of a lot; one of our own where it has no GTIN, or an id that is too long for a lot number."""
        gtin = self.gtins.get(name)
        try:
            return self.plant.thing("lot", name) if gtin is None else lot_link(self.plant.stem, gtin, name)
        except MalformedLink:
            return self.plant.thing("lot", name)

    def ball(self, unit: str, lot: str, serial: str) -> str:
        """The address of a ball of a lot by its number; one of our own where the number cannot stand in a link."""
        gtin = self.gtins.get(lot)
        try:
            return self.plant.thing("ball", unit) if gtin is None else format_link(self.plant.stem, gtin, serial)
        except MalformedLink:
            return self.plant.thing("ball", unit)

    def amount(self, lot: str, number: int) -> Quantity:
        """Grams of a material or a batch, pieces of any other lot, as a quantity of it."""
        if self.stages.get(lot) in {"material", "batch"}:
            return Quantity(epc_class=self.lot(lot), quantity=Decimal(number).scaleb(-3), uom="KGM")
        return Quantity(epc_class=self.lot(lot), quantity=Decimal(number))


def ball_address(plant: Plant, unit: Unit, gtin: str) -> str:
    """The address of a ball by the number that it bears now; one of our own where it bears none."""
    if unit.serial is None:
        return plant.thing("ball", unit.unit)
    return Named(plant, {}, {unit.lot: gtin}).ball(unit.unit, unit.lot, unit.serial)


def kilograms(lot: str, text: str) -> Quantity:
    """Kilograms, to the gram, of what has that address."""
    return Quantity(epc_class=lot, quantity=Decimal(text).quantize(Decimal("0.001")), uom="KGM")


def file_address(digest: str) -> str:
    """The address of a file by its SHA-256 (64 hex digits). Source: RFC 6920 section 3."""
    return f"ni:///sha-256;{base64.urlsafe_b64encode(bytes.fromhex(digest)).decode().rstrip('=')}"
