"""The folder of a mirror: the newest head it has followed, and the hash of every entry up to there, as plain files.

    checkpoint              the signed note, as it was served
    frontier                the right edge of the tree (`ledger.book.frontier`) of that size
    tile/0/<N>[.p/<W>]      leaf hashes, 256 a file, by the paths of C2SP tlog-tiles
    entries-size, tile/entries/<N>[.p/<W>]
                            the entries themselves, and how many, where the mirror was allowed to read them
    fork/                   what shows that two heads were signed (`ledger.evidence.fork`); nothing is followed any more

Tiles are written, flushed and named before the frontier, and the frontier before the checkpoint: a mirror that is killed
finds the earlier head and the tiles that fit it. Raises MalformedInput for a folder that cannot be used.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from ledger.book.c2sp_text import parse_count
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.frontier import Frontier
from ledger.book.merkle import HASH_BYTES
from ledger.book.note import MAX_NOTE_BYTES
from ledger.book.tiles import TILE_WIDTH, entries_path, tile_path
from ledger.errors import MalformedInput, RootMismatch
from ledger.evidence.leaf_tiles import frontier_of

_CHECKPOINT, _FRONTIER, _ENTRIES, _FORK = "checkpoint", "frontier", "entries-size", "fork"
_MAX_FRONTIER_BYTES = 8 + 64 * HASH_BYTES


class MirrorFolder:
    """One mirror's files. One process at a time: a second one would write the same bytes or find a fork."""

    def __init__(self, path: Path) -> None:
        """Make the folder if there is none. Raises MalformedInput where it cannot be written."""
        self.path = path
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise MalformedInput(f"folder cannot be made: {error.strerror}", where=str(path)) from error

    @property
    def fork(self) -> Path:
        """Where the evidence of a fork lies, once there is one."""
        return self.path / _FORK

    def head(self) -> tuple[bytes, Frontier]:
        """The note of the newest head and the frontier of its size; nothing and the empty one at first.

        Raises MalformedInput for files that are none of a mirror, RootMismatch where they do not belong together.
        """
        note = self._read(_CHECKPOINT, MAX_NOTE_BYTES)
        if note is None:
            return b"", Frontier()
        head = parse_checkpoint(note)
        frontier = Frontier.from_bytes(self._read(_FRONTIER, _MAX_FRONTIER_BYTES) or b"")
        if (frontier.size, frontier.root()) != (head.tree_size, head.root_hash):
            # Killed between the two, or changed by hand: the leaves say which.
            frontier = frontier_of(self.read, head.tree_size)
            if frontier.root() != head.root_hash:
                raise RootMismatch(
                    "mirror's own files do not give the root of its checkpoint",
                    expected=head.root_hash.hex(),
                    got=frontier.root().hex(),
                    where=str(self.path),
                    mend="keep this folder as it is, and begin another beside it",
                )
        return note, frontier

    def keep_leaves(self, first: int, leaves: list[bytes]) -> None:
        """Keep leaf hashes from the index ``first`` of a tile's beginning on."""
        for start in range(0, len(leaves), TILE_WIDTH):
            part = leaves[start : start + TILE_WIDTH]
            self._write_tile(tile_path(0, (first + start) // TILE_WIDTH, len(part)), b"".join(part))

    def keep_entries(self, number: int, width: int, raw: bytes) -> None:
        """Keep a tile of entries, which the caller has checked against their hashes."""
        self._write_tile(entries_path(number, width), raw)

    def keep_head(self, note: bytes, frontier: Frontier) -> None:
        """Make this the newest head. Its leaves are kept already."""
        self._write(_FRONTIER, frontier.to_bytes())
        self._write(_CHECKPOINT, note)

    def entries_kept(self) -> int:
        """Up to which size the entries themselves are kept."""
        raw = self._read(_ENTRIES, 20)
        return 0 if raw is None else parse_count(raw.decode("ascii", "replace"), MalformedInput, where=_ENTRIES)

    def keep_entries_size(self, size: int) -> None:
        """The entries are kept up to ``size``."""
        self._write(_ENTRIES, str(size).encode())

    def held(self, number: int, width: int) -> bytes | None:
        """The first ``width`` hashes of a leaf tile, from the narrowest form that holds them; None where none does."""
        for wider in range(width, TILE_WIDTH + 1):
            raw = self._read(tile_path(0, number, wider), TILE_WIDTH * HASH_BYTES)
            if raw is not None:
                return raw[: width * HASH_BYTES]
        return None

    def read(self, number: int, width: int) -> bytes:
        """The first ``width`` hashes of a leaf tile. Raises RootMismatch where it is missing."""
        raw = self.held(number, width)
        if raw is None:
            raise RootMismatch("mirror lacks a tile", where=str(self.path / tile_path(0, number, width)))
        return raw

    def drop_beyond(self, size: int) -> None:
        """Let go of leaf tiles that begin at or after ``size``: fetched for a head that did not fit."""
        number = -(-size // TILE_WIDTH)
        while self._drop(tile_path(0, number)):
            number += 1

    def _drop(self, name: str) -> bool:
        """Let go of a tile in all its forms; whether there was one."""
        full, narrow = self.path / name, self.path / f"{name}.p"
        there = full.exists() or narrow.exists()
        full.unlink(missing_ok=True)
        _remove_folder(narrow)
        return there

    def keep_fork(self, files: Mapping[str, bytes]) -> None:
        """Keep the evidence of a fork."""
        for name, content in files.items():
            self._write(f"{_FORK}/{name}", content)

    def _write_tile(self, name: str, raw: bytes) -> None:
        self._write(name, raw)
        if ".p/" not in name:
            # A full tile takes the place of its narrower forms.
            _remove_folder(self.path / f"{name}.p")

    def _read(self, name: str, limit: int) -> bytes | None:
        try:
            with (self.path / name).open("rb") as file:
                raw = file.read(limit + 1)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise MalformedInput(f"file cannot be read: {error.strerror}", where=str(self.path / name)) from error
        if len(raw) > limit:
            raise MalformedInput("file is too long", expected=f"at most {limit} bytes", where=str(self.path / name))
        return raw

    def _write(self, name: str, raw: bytes) -> None:
        file = self.path / name
        beside = file.with_name(f".{file.name}.{os.getpid()}")
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            with beside.open("wb") as out:
                out.write(raw)
                out.flush()
                os.fsync(out.fileno())
            beside.replace(file)
        except OSError as error:
            raise MalformedInput(f"file cannot be written: {error.strerror}", where=str(file)) from error


def _remove_folder(folder: Path) -> None:
    for file in folder.glob("*"):
        file.unlink()
    if folder.is_dir():
        folder.rmdir()
