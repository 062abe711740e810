"""What the tests of the book share: keys, entries, a small signed book, damage, and the published vectors."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest
from hypothesis import strategies as st

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import GENESIS_HASH, Entry, Said, entry_hash, format_entry
from ledger.book.merkle import prove_inclusion, root
from ledger.book.receipt import format_receipt
from ledger.book.signing import signer_from_seed

ORIGIN = "ledger.example/balls"
LOG = signer_from_seed(ORIGIN, hashlib.sha256(b"log key of the tests").digest())
NEXT_LOG = signer_from_seed(ORIGIN, hashlib.sha256(b"next log key of the tests").digest())
WITNESS = signer_from_seed("witness.example/w1", hashlib.sha256(b"witness key of the tests").digest(), "witness")
STATION = signer_from_seed("station.example/7", hashlib.sha256(b"station key of the tests").digest(), "station")

VECTORS = Path(__file__).resolve().parents[3] / "shared" / "reference" / "vectors"


def vectors(name: str) -> Any:
    """A file of published and derived vectors, or a skip that names what is absent."""
    path = VECTORS / name
    if not path.exists():
        pytest.skip(f"reference vectors are not beside this project: shared/reference/vectors/{name}")
    return json.loads(path.read_text("utf-8"))


def leaves(count: int) -> list[bytes]:
    """``count`` leaf hashes, each another."""
    return [hashlib.sha256(index.to_bytes(8, "big")).digest() for index in range(count)]


def flipped(raw: bytes, bit: int) -> bytes:
    """``raw`` with one bit changed."""
    changed = bytearray(raw)
    changed[bit // 8] ^= 1 << (bit % 8)
    return bytes(changed)


@dataclass(frozen=True)
class SmallBook:
    """Entries in a chain, their hashes, and the note of the checkpoint over all of them."""

    entries: list[bytes]
    hashes: list[bytes]
    note: bytes

    def receipt(self, index: int) -> str:
        """The receipt of the entry at ``index``."""
        return format_receipt(index, prove_inclusion(self.hashes, index, len(self.hashes)), self.note)


def sample_entry(index: int, previous_hash: bytes = GENESIS_HASH, serial: str = "2345ACDFG") -> Entry:
    """An entry of the usual form at ``index``."""
    record: dict[str, object] = {"kind": "ball_engraved", "serial": serial, "weight_lb": "15.10", "unit": index}
    return Entry(
        book=ORIGIN,
        index=index,
        prev=previous_hash.hex(),
        recorded_at="2026-11-25T10:00:00.000+01:00",
        author="a7",
        said=Said(book=ORIGIN, key=f"k{index}", records=[record]),
        breaches=[],
    )


def small_book(count: int) -> SmallBook:
    """A book of ``count`` entries (at least one), sealed under one checkpoint."""
    entries: list[bytes] = []
    hashes: list[bytes] = []
    previous = GENESIS_HASH
    for index in range(count):
        entries.append(format_entry(sample_entry(index, previous)))
        previous = entry_hash(entries[-1])
        hashes.append(previous)
    return SmallBook(entries, hashes, sign_checkpoint(ORIGIN, count, root(hashes), [LOG]))


# Text that stays NFC in every later Unicode: assigned characters only, normalized here since the book refuses to.
texts = st.text(st.characters(exclude_categories=["Cs", "Cn"]), max_size=20).map(lambda text: normalize("NFC", text))
keys = st.text(st.characters(max_codepoint=127), max_size=8)
values: st.SearchStrategy[object] = st.recursive(
    st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4),
    max_leaves=12,
)
"""JSON values of the book's profile."""
