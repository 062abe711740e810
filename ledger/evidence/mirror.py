"""Following a book from outside: every hash of every entry, and whether each head only adds to the one before.

A mirror trusts the book's key and nothing else. It reads the checkpoint and the leaf tiles that it lacks, makes the tree
itself, and keeps the head only if its root comes out; then the kept leaves are those of the new head too, so the new book
only added. Where they are not, it tells three things apart: tiles that do not belong to the checkpoint (try again), its own
files changed, and a fork, of which it keeps the evidence and after which it follows nothing any more.

``fetch(path, limit)`` gives the bytes at an address of the book, at most ``limit``; it raises StoreUnavailable where they
cannot be had. Paths are those of C2SP tlog-tiles.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from ledger.book.checkpoint import Checkpoint, check_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.frontier import Frontier
from ledger.book.merkle import HASH_BYTES
from ledger.book.note import MAX_NOTE_BYTES
from ledger.book.signing import Verifier
from ledger.book.tiles import (
    TILE_WIDTH,
    decode_entries_tile,
    entries_path,
    prove_consistency_from_tiles,
    tile_path,
)
from ledger.errors import ConsistencyFailed, NotFound, RootMismatch
from ledger.evidence.fork import ForkEvidence, format_fork
from ledger.evidence.leaf_tiles import LeafTiles, first_difference_of, frontier_of, split_leaves
from ledger.evidence.mirror_folder import MirrorFolder

Fetch = Callable[[str, int], bytes]
Progress = Callable[[int, int], None]

_MAX_ENTRIES_TILE = TILE_WIDTH * (2 + 65_535)


class Followed(NamedTuple):
    """One look: the size kept before, the head kept now, and whether an older head was shown, which is no fork."""

    before: int
    head: Checkpoint
    shown_size: int


class Mirror:
    """One book, one folder."""

    def __init__(
        self, folder: MirrorFolder, verifier_keys: Iterable[Verifier | str], fetch: Fetch, *, entries: bool = False
    ) -> None:
        """``entries``: keep the entries themselves too, which the book shows only to some."""
        self._folder = folder
        self._keys = list(verifier_keys)
        self._fetch = fetch
        self._entries = entries

    def follow(self, progress: Progress | None = None) -> Followed:
        """Look once. Raises ConsistencyFailed for a fork, found now or earlier, and RootMismatch for hashes that do not fit.

        Also SignatureRejected and what is malformed. Nothing that is wrong is kept as head.
        """
        self._check_no_fork()
        kept_note, frontier = self._folder.head()
        kept = check_checkpoint(kept_note, self._keys) if kept_note else None
        shown = check_checkpoint(
            self._fetch("checkpoint", MAX_NOTE_BYTES), self._keys, kept.origin if kept is not None else None
        )
        if kept is not None and shown.tree_size <= kept.tree_size:
            self._compare(kept, shown)
            newest = shown if shown.tree_size == kept.tree_size and _says_more(shown, kept) else kept
        else:
            frontier = self._grow(kept, frontier, shown, progress or _silent)
            newest = shown
        if self._entries:
            self._keep_entries(newest.tree_size, progress or _silent)
        if newest is not kept:
            self._folder.keep_head(newest.note, frontier)
        return Followed(0 if kept is None else kept.tree_size, newest, shown.tree_size)

    def compare(self, note: bytes) -> Checkpoint:
        """Hold a head that was seen elsewhere (a witness, another reader) against the kept one.

        A larger one cannot be judged before it is followed here. Raises ConsistencyFailed for a fork, whose evidence is
        kept, SignatureRejected, and ConsistencyFailed too for one that is larger.
        """
        self._check_no_fork()
        kept = self._kept()
        shown = check_checkpoint(note, self._keys, kept.origin)
        if shown.tree_size > kept.tree_size:
            raise ConsistencyFailed(
                "head seen elsewhere is ahead of this mirror",
                expected=f"at most {kept.tree_size} entries",
                got=shown.tree_size,
                mend="follow the book first; if it does not grow to that size, it is not the book that was shown there",
            )
        self._compare(kept, shown)
        return shown

    def check(self) -> Checkpoint:
        """Make the tree anew from the kept leaves and compare it with the kept head. Raises RootMismatch."""
        self._check_no_fork()
        kept = self._kept()
        found = frontier_of(self._folder.read, kept.tree_size).root()
        if found != kept.root_hash:
            raise _own_files(kept, found)
        return kept

    def _kept(self) -> Checkpoint:
        note = self._folder.head()[0]
        if not note:
            raise NotFound("mirror holds no head yet", where=str(self._folder.path), mend="let it follow the book once")
        return check_checkpoint(note, self._keys)

    def _check_no_fork(self) -> None:
        if self._folder.fork.exists():
            raise ConsistencyFailed(
                "a fork of this book was found earlier, and nothing is followed any more",
                where=str(self._folder.fork),
                mend="show that folder to the witnesses; begin a new mirror in another folder once it is settled",
            )

    def _compare(self, kept: Checkpoint, shown: Checkpoint) -> None:
        """The shown head, not larger than the kept one, must be one that the kept book had."""
        root = kept.root_hash
        if shown.tree_size < kept.tree_size:
            root = frontier_of(self._folder.read, shown.tree_size).root()
        if root == shown.root_hash:
            return
        if shown.tree_size == kept.tree_size:
            raise self._forked(ForkEvidence(kept.note, shown.note))
        tiles = LeafTiles(self._folder.read, kept.tree_size)
        proof = prove_consistency_from_tiles(tiles, shown.tree_size, kept.tree_size)
        raise self._forked(ForkEvidence(kept.note, shown.note, root, tuple(proof)))

    def _grow(self, kept: Checkpoint | None, frontier: Frontier, shown: Checkpoint, progress: Progress) -> Frontier:
        """The frontier of the shown head, its leaves kept. Raises RootMismatch, or ConsistencyFailed for a fork."""
        size = frontier.size
        for number in range(size // TILE_WIDTH, -(-shown.tree_size // TILE_WIDTH)):
            first = number * TILE_WIDTH
            width = min(TILE_WIDTH, shown.tree_size - first)
            leaves = split_leaves(self._tile(number, width, known=size), number, width)
            if first < size and leaves[: size - first] != split_leaves(
                self._folder.read(number, size - first), number, size - first
            ):
                break
            self._folder.keep_leaves(first, leaves)
            frontier = frontier.append(leaves[max(0, size - first) :])
            progress(frontier.size, shown.tree_size)
        if frontier.size == shown.tree_size and frontier.root() == shown.root_hash:
            return frontier
        self._folder.drop_beyond(size)
        raise self._unlike(kept, shown)

    def _tile(self, number: int, width: int, *, known: int) -> bytes:
        """A leaf tile beyond the kept head: from an earlier try that was cut short, or from the book."""
        held = self._folder.held(number, width) if number * TILE_WIDTH >= known and width == TILE_WIDTH else None
        return held if held is not None else self._shown_tile(number, width)

    def _shown_tile(self, number: int, width: int) -> bytes:
        return self._fetch(tile_path(0, number, width), width * HASH_BYTES)

    def _unlike(self, kept: Checkpoint | None, shown: Checkpoint) -> ConsistencyFailed | RootMismatch:
        """Why the shown head does not come out of the kept leaves: every leaf is asked for anew."""
        found = frontier_of(self._shown_tile, shown.tree_size).root()
        if found != shown.root_hash:
            return RootMismatch(
                "tiles do not give the root of the checkpoint",
                expected=shown.root_hash.hex(),
                got=found.hex(),
                mend="try again; if it stays so, the book's own tiles are damaged",
            )
        if kept is None:
            return RootMismatch("tiles changed while they were read", mend="try again")
        tiles = LeafTiles(self._shown_tile, shown.tree_size)
        other = frontier_of(self._shown_tile, kept.tree_size).root()
        if other == kept.root_hash:
            return _own_files(kept, frontier_of(self._folder.read, kept.tree_size).root())
        proof = prove_consistency_from_tiles(tiles, kept.tree_size, shown.tree_size)
        at = first_difference_of(self._folder.read, self._shown_tile, kept.tree_size)
        return self._forked(ForkEvidence(kept.note, shown.note, other, tuple(proof)), at)

    def _forked(self, evidence: ForkEvidence, at: int | None = None) -> ConsistencyFailed:
        self._folder.keep_fork(format_fork(evidence, self._keys))
        place = "" if at is None else f"; the first entry that differs is {at}"
        return ConsistencyFailed(
            f"the book was forked: two heads are signed, and no one book has both{place}",
            where=str(self._folder.fork),
            mend="show that folder to the witnesses, and rely on neither head until it is settled",
        )

    def _keep_entries(self, size: int, progress: Progress) -> None:
        """Keep the entries up to ``size``, each held against its leaf. Raises RootMismatch."""
        kept = self._folder.entries_kept()
        for number in range(kept // TILE_WIDTH, -(-size // TILE_WIDTH)):
            first = number * TILE_WIDTH
            width = min(TILE_WIDTH, size - first)
            raw = self._fetch(entries_path(number, width), _MAX_ENTRIES_TILE)
            found = [entry_hash(entry) for entry in decode_entries_tile(raw)]
            _check_hashes(found, split_leaves(self._folder.read(number, width), number, width), first)
            self._folder.keep_entries(number, width, raw)
            self._folder.keep_entries_size(first + width)
            progress(first + width, size)


def _check_hashes(found: Sequence[bytes], leaves: Sequence[bytes], first: int) -> None:
    if len(found) != len(leaves):
        raise RootMismatch("entries are another number", expected=len(leaves), got=len(found), where=f"from {first}")
    for place, (one, other) in enumerate(zip(found, leaves, strict=True)):
        if one != other:
            raise RootMismatch("entry is not the one in the tree", where=f"entry {first + place}", got=one.hex())


def _says_more(shown: Checkpoint, kept: Checkpoint) -> bool:
    """Whether a note of the same head carries more cosignatures."""
    return len(shown.cosignatures) > len(kept.cosignatures)


def _own_files(kept: Checkpoint, found: bytes) -> RootMismatch:
    return RootMismatch(
        "mirror's own leaves do not give the root of the head that it kept",
        expected=kept.root_hash.hex(),
        got=found.hex(),
        mend="its files were changed: keep this folder as it is, and begin another beside it",
    )


def _silent(_done: int, _whole: int) -> None:
    """No progress is shown."""
