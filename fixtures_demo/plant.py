"""Who and what the invented maker is: names, accounts, demo keys. Nothing here belongs to any real maker.

The key seeds are public, so whatever they sign proves nothing: they are for this demo alone.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from hashlib import sha256

from ledger.application.signers import Signers, credential_key_name, dossier_key_name
from ledger.book.signing import signer_from_seed

MAKER = "Osier Mill Ball Works (invented)"
BRAND = "Osier Mill"
ORIGIN = "osier-mill.example/book"
LABEL_STEM = "https://id.osier-mill.example"
SEED = 20260803

ACCOUNTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "moulding": ("Moulding and pour line", ("station",)),
    "finishing": ("Turning and finishing", ("station",)),
    "engraving-1": ("Engraving station 1", ("station", "inspector")),
    "engraving-2": ("Engraving station 2", ("station", "inspector")),
    "gauges": ("Gauge room", ("inspector",)),
    "shipping": ("Shipping", ("station",)),
    "quality-1": ("Quality lead", ("quality",)),
    "quality-2": ("Quality, second person", ("quality",)),
    "approvals": ("Quality, approvals clerk", ("quality",)),
    "desk": ("Warranty desk", ("desk",)),
    "auditor": ("Auditor of the works", ("auditor",)),
    "outside": ("Outside auditor", ("examiner",)),
}
"""Account keys, and the name and roles that each is opened with. The keeper is opened with the book."""

CONSIGNEES = {
    "SHOP-ALDER": ("Shop Alder Street", "5 Alder Street\nSampleton 10001", "north"),
    "SHOP-CANAL": ("Shop Canal Side", "12 Canal Side\nExampletown 20002", "north"),
    "SHOP-BREWERY": ("Shop Old Brewery", "1 Brewery Yard\nSampleton 10003", "north"),
    "DIST-NORTH": ("Distributor North", "Dock 4\nNorth Harbour 30004", "north"),
    "DIST-SOUTH": ("Distributor South", "Unit 9, South Park\nSouth Harbour 40005", "south"),
}
"""Who balls are sent to, by id: name, address, market. All invented."""


def demo_seed(purpose: str, seed: int) -> bytes:
    """32 bytes for a demo key or secret of one purpose: derived, public, worthless outside the demo."""
    return sha256(f"pourbook demo, not a secret: {purpose} {seed}".encode()).digest()


def demo_signers(seed: int) -> Signers:
    """The demo book's keys."""
    name = dossier_key_name(ORIGIN)
    return Signers(
        checkpoint=signer_from_seed(ORIGIN, demo_seed("checkpoint", seed)),
        dossier=signer_from_seed(name, demo_seed("dossier", seed), "dossier"),
        credential=signer_from_seed(credential_key_name(ORIGIN), demo_seed("credential", seed), "credential"),
    )


def demo_salts(seed: int) -> Callable[[int], Sequence[bytes]]:
    """Salts for sealed fields that are the same on every run; a real book takes random ones."""
    state = {"drawn": 0}

    def salts(count: int) -> list[bytes]:
        first = state["drawn"]
        state["drawn"] += count
        return [demo_seed(f"salt {number}", seed) for number in range(first, first + count)]

    return salts


def chance(seed: int, topic: str) -> random.Random:
    """A stream of chance of its own for each topic, so that a change in one leaves the others alone."""
    return random.Random(f"{seed} {topic}")
