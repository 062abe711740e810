"""Directories of invented plants for tests."""

from __future__ import annotations

import hashlib

from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.errors import MalformedInput

GTIN = "09521234543213"


def key_of(plant: str) -> Signer:
    """The checkpoint key of an invented plant's book."""
    return signer_from_seed(f"{plant}.test/book", hashlib.sha256(plant.encode()).digest())


def plant_table(plant: str, *serials: str, **lines: str) -> str:
    """A plant's table with a serial table for each text, such as ``prefix = "N"``; ``lines`` replace a key's value."""
    values = {
        "id": f'"{plant}"',
        "origin": f'"{plant}.test/book"',
        "address": f'"https://{plant}.test"',
        "verifiers": f'["{format_verifier(key_of(plant).verifier)}"]',
        "gtins": f'["{GTIN}"]',
        **lines,
    }
    head = "".join(f"{key} = {value}\n" for key, value in values.items() if value)
    return f"[[plant]]\n{head}" + "".join(f"[[plant.serials]]\n{text}\n" for text in serials)


def directory(*tables: str) -> bytes:
    """The bytes of a file of these plants."""
    return ("format = 1\n" + "".join(tables)).encode()


def https_alone(url: str, where: str) -> None:
    """An address check as a caller may have it."""
    if not url.startswith("https://"):
        raise MalformedInput("address is not https", got=url, where=where)
