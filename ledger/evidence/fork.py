"""Two heads of one book that cannot both be true, shown so that anyone with the book's key can see it.

Both notes are signed by the book's own key. Where they are of one size, two roots are enough. Where one is of an earlier
size, the evidence holds the root that the larger tree has at that size, other than the one that was signed, and a
consistency proof (RFC 9162 section 2.1.4) from it to the larger root. Nobody but the holder of the key can make such a
pair, so it speaks against the holder, whatever the reason (a restored backup, two services, a stolen key, intent).

Files: ``kept`` and ``shown`` (the notes), ``proof`` where sizes differ, ``README.txt``. The form of ``proof`` is our own:
a line ``root <base64>`` and a line of base64 for each hash.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ledger.book.c2sp_text import format_base64, parse_hash
from ledger.book.checkpoint import Checkpoint, check_checkpoint
from ledger.book.merkle import check_consistency
from ledger.book.signing import Verifier
from ledger.errors import ConsistencyFailed, MalformedProof

KEPT, SHOWN, PROOF, README = "kept", "shown", "proof", "README.txt"
_MAX_HASHES = 64


@dataclass(frozen=True, slots=True)
class ForkEvidence:
    """The two notes, and for notes of two sizes the larger tree's root at the smaller size with its proof. Unchecked."""

    kept: bytes
    shown: bytes
    other_root: bytes = b""
    proof: tuple[bytes, ...] = ()


@dataclass(frozen=True, slots=True)
class Fork:
    """A fork that was checked: both heads are signed by the book's key, and no one tree has both."""

    kept: Checkpoint
    shown: Checkpoint

    def lines(self) -> list[str]:
        """What it shows, in words."""
        kept, shown = self.kept, self.shown
        return [
            f"Two heads of the book {kept.origin} are signed by its own key, and no one book has both:",
            f"  kept:  {kept.tree_size:,} entries, root {kept.root_hash.hex()}",
            f"  shown: {shown.tree_size:,} entries, root {shown.root_hash.hex()}",
            "Whoever holds the key has shown different books to different readers, or has rolled one back.",
            "Which of the two is the true one this cannot say: ask the witnesses which of them they cosigned.",
        ]


def check_fork(evidence: ForkEvidence, verifier_keys: Iterable[Verifier | str]) -> Fork:
    """Check that this is a fork. Raises ConsistencyFailed where it shows none, and what `check_checkpoint` raises."""
    keys = list(verifier_keys)
    kept = check_checkpoint(evidence.kept, keys)
    shown = check_checkpoint(evidence.shown, keys, kept.origin)
    smaller, larger = sorted((kept, shown), key=lambda head: head.tree_size)
    if smaller.tree_size == larger.tree_size:
        other = larger.root_hash
    else:
        other = evidence.other_root
        check_consistency(smaller.tree_size, other, larger.tree_size, larger.root_hash, evidence.proof)
    if other == smaller.root_hash:
        raise ConsistencyFailed("these two heads are of one book", got=f"sizes {smaller.tree_size}, {larger.tree_size}")
    return Fork(kept, shown)


def format_fork(evidence: ForkEvidence, verifier_keys: Iterable[Verifier | str]) -> dict[str, bytes]:
    """The files of the evidence, checked first. Raises what `check_fork` raises."""
    fork = check_fork(evidence, verifier_keys)
    files = {
        README: ("\n".join([*fork.lines(), "", *_HOW]) + "\n").encode(),
        KEPT: evidence.kept,
        SHOWN: evidence.shown,
    }
    if evidence.other_root:
        lines = [f"root {format_base64(evidence.other_root)}", *map(format_base64, evidence.proof)]
        files[PROOF] = ("\n".join(lines) + "\n").encode()
    return files


def parse_fork(files: Mapping[str, bytes]) -> ForkEvidence:
    """The evidence of these files, unchecked. Raises MalformedProof."""
    missing = [name for name in (KEPT, SHOWN) if name not in files]
    if missing:
        raise MalformedProof("evidence of a fork lacks a file", expected=f"{KEPT} and {SHOWN}", where=missing[0])
    root, proof = _parse_proof(files[PROOF]) if PROOF in files else (b"", ())
    return ForkEvidence(files[KEPT], files[SHOWN], root, proof)


def _parse_proof(raw: bytes) -> tuple[bytes, tuple[bytes, ...]]:
    lines: Sequence[str] = raw.decode("ascii", "replace").removesuffix("\n").split("\n")
    if not lines[0].startswith("root ") or len(lines) > _MAX_HASHES:
        raise MalformedProof("proof of a fork has another shape", expected="root <base64>, then hashes", where=PROOF)
    root = parse_hash(lines[0].removeprefix("root "), MalformedProof, where=PROOF)
    return root, tuple(parse_hash(line, MalformedProof, where=PROOF) for line in lines[1:])


_HOW = (
    "To check it, with the book's key from elsewhere than from here: pourbook verify fork FOLDER --key KEY",
    "Keep this folder as it is, and show it to the witnesses and to everyone who relies on the book.",
)
