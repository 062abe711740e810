"""A book as it is shown to readers from outside: signed heads, leaf tiles and entries at their addresses."""

from __future__ import annotations

import hashlib

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.merkle import root
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.book.tiles import TILE_WIDTH, encode_entries_tile, parse_entries_path, parse_tile_path
from ledger.errors import NotFound

ORIGIN = "books.example/mirrored"
LOG = signer_from_seed(ORIGIN, hashlib.sha256(b"log key of the mirror tests").digest())
KEY = format_verifier(LOG.verifier)


def entries(count: int, changed: int = -1) -> list[bytes]:
    """So many entries; the one at ``changed`` says something else."""
    return [f"entry {at}{' otherwise' if at == changed else ''}".encode() for at in range(count)]


class ShownBook:
    """What a service shows at one moment. ``size`` may be set back or on; ``asked`` lists the addresses that were read."""

    def __init__(self, raws: list[bytes], signer: Signer = LOG) -> None:
        """A book of these entries."""
        self.raws = raws
        self.leaves = [entry_hash(raw) for raw in raws]
        self.size = len(raws)
        self.signer = signer
        self.asked: list[str] = []

    def head(self, size: int | None = None) -> bytes:
        """The signed note at a size."""
        at = self.size if size is None else size
        return sign_checkpoint(self.signer.name, at, root(self.leaves[:at]), [self.signer])

    def read(self, path: str, limit: int) -> bytes:
        """What stands at an address."""
        self.asked.append(path)
        raw = self._read(path)
        assert len(raw) <= limit
        return raw

    def _read(self, path: str) -> bytes:
        if path == "checkpoint":
            return self.head()
        if path.startswith("tile/entries/"):
            number, width = parse_entries_path(path)
            return encode_entries_tile(self.raws[number * TILE_WIDTH : number * TILE_WIDTH + width])
        address = parse_tile_path(path)
        first = address.tile_index * TILE_WIDTH
        if address.level or first + address.width > self.size:
            raise NotFound("no such tile", where=path)
        return b"".join(self.leaves[first : first + address.width])
