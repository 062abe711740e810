"""Drawing sample balls so that nobody picks them: the seed, the order of the candidates, and the list of candidates.

First the samples are **announced**: from which lots, in which states, how many of each class, out of which candidates.
The entry of the announcement fixes the seed, and the draw only works it out:

    seed  = SHA-256( "pourbook/sample-seed/1\\n" || root )      root: of the tree that ends with the announcement's entry
    place = SHA-256( "pourbook/sample-order/1\\n" || seed || unit )

The candidates of a class stand in the order of ``place`` (bytes, then unit id); the first of them are the samples, and one
that has to be replaced is replaced by the next.  The tree that ends with the announcement is the smallest that covers it,
so that there is no choice of checkpoint; its root follows from any receipt of the announcement (`root_at`), and every later
checkpoint commits to it.

**What it prevents**: whoever announces cannot know the root before, since the entry holds the service's clock and the hash
of the entry before it; so the balls cannot be picked by announcing cleverly, and the ball next in order cannot be skipped
without a reason that stays on the file.  Drawing again shows: an announcement has to be drawn before another is made, and
all are counted on the file.
**What it does not**: whoever writes the book (service and key) could try many forms of the entry until its root gives the
balls that he wants.  A witness bounds that: its cosignature on a checkpoint that covers the announcement, soon after it,
leaves only the time in between, and a second party that saw the candidates before leaves none to forge.  Which lots and
states are announced is a choice too; it is stated, and who reads the file judges it.

Source: none for the rule, which is this book's own; SHA-256 is FIPS 180-4, the tree RFC 9162.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Literal, NamedTuple

from ledger.book.canonical import encode
from ledger.book.merkle import HASH_BYTES, node_hash
from ledger.errors import InclusionFailed, RuleStands
from ledger.line.lot_changes import balls_root

RULE: Literal["draw-1"] = "draw-1"
"""The name of the rule above, as announcements state it."""

_SEED_TAG = b"pourbook/sample-seed/1\n"
_ORDER_TAG = b"pourbook/sample-order/1\n"


class Candidate(NamedTuple):
    """A ball that could be drawn: nominal class in pounds, unit id, serial."""

    weight_class: int
    unit: str
    serial: str


class ClassCandidates(NamedTuple):
    """The candidates of one class as an announcement states them: how many, and their root (64 hex digits)."""

    balls: int
    root: str


def root_at(leaf: bytes, index: int, tree_size: int, proof: Sequence[bytes]) -> bytes:
    """Root (32 bytes) of the tree of ``index`` + 1 leaves, from an inclusion proof of its last leaf in any later tree.

    The leaf's left siblings are complete subtrees in every tree that holds it, so that those of the proof are those of the
    smaller tree.  The proof must have been checked against the larger root (`ledger.book.merkle.check_inclusion`): here
    only its length is.  Raises InclusionFailed.  Source: RFC 9162 sections 2.1.1 and 2.1.3.
    """
    if not 0 <= index < tree_size:
        raise InclusionFailed("index is outside the tree", expected=f"below {tree_size}", got=index)
    place, last, running, used = index, tree_size - 1, leaf, 0
    while last:
        # An odd last node goes up as it is, and has no sibling in the proof.
        if place & 1 or place != last:
            if used == len(proof):
                raise InclusionFailed("inclusion proof is too short", got=f"{len(proof)} hashes")
            if place & 1:
                running = node_hash(proof[used], running)
            used += 1
        place >>= 1
        last >>= 1
    if used != len(proof):
        raise InclusionFailed("inclusion proof is too long", got=f"{len(proof)} hashes")
    return running


def sample_seed(root: bytes) -> str:
    """The seed, 64 hex digits, from the root (32 bytes) of the tree that ends with the announcement."""
    if len(root) != HASH_BYTES:
        raise InclusionFailed("root has another length", expected=f"{HASH_BYTES} bytes", got=len(root))
    return hashlib.sha256(_SEED_TAG + root).hexdigest()


def draw_order(units: Iterable[str], seed: str) -> list[str]:
    """The candidates of one class in the order in which they are drawn. The order in which they come does not matter."""
    secret = bytes.fromhex(seed)
    return sorted(set(units), key=lambda unit: (hashlib.sha256(_ORDER_TAG + secret + unit.encode()).digest(), unit))


def draw_samples(candidates: Iterable[Candidate], wanted: Mapping[int, int], seed: str) -> dict[int, tuple[str, ...]]:
    """The units drawn of each class, in the order of the draw. Raises RuleStands for a class with too few candidates."""
    known = list(candidates)
    drawn: dict[int, tuple[str, ...]] = {}
    for weight_class, balls in sorted(wanted.items()):
        order = draw_order((one.unit for one in known if one.weight_class == weight_class), seed)
        if len(order) < balls:
            raise RuleStands(
                f"{weight_class} lb has too few candidates",
                expected=f"{balls} balls",
                got=len(order),
                where="classes",
                mend="announce more lots, or fewer balls",
            )
        drawn[weight_class] = tuple(order[:balls])
    return drawn


def check_draw(
    candidates: Iterable[Candidate], said: Mapping[int, Sequence[str]], seed: str, *, where: str = "classes"
) -> None:
    """Check that the units said of each class are those that the seed gives. Raises RuleStands naming the first other."""
    drawn = draw_samples(candidates, {weight_class: len(units) for weight_class, units in said.items()}, seed)
    for weight_class, units in sorted(said.items()):
        for place, (own, unit) in enumerate(zip(drawn[weight_class], units, strict=True)):
            if own != unit:
                raise RuleStands(
                    f"ball {place + 1} of {weight_class} lb is not the one that the seed draws",
                    expected=own,
                    got=unit,
                    where=where,
                    mend="state the balls in the order of the draw, as it is worked out from the announcement",
                )


def next_drawn(units: Iterable[str], seed: str, used: Collection[str]) -> list[str]:
    """The candidates of one class that are still to come, in order; ``used`` are those that were drawn or passed over."""
    return [unit for unit in draw_order(units, seed) if unit not in used]


def candidate_list(candidates: Iterable[Candidate]) -> bytes:
    """The list of candidates as a file: canonical JSON ``[class, unit, serial]``, a line each, by class, then unit."""
    return b"".join(encode([*one]) + b"\n" for one in sorted(set(candidates)))


def candidate_counts(candidates: Iterable[Candidate]) -> dict[int, ClassCandidates]:
    """Count and root of each class. The leaves are those of a closed lot (`balls_root`)."""
    by_class: dict[int, set[tuple[str, str | None]]] = {}
    for one in candidates:
        by_class.setdefault(one.weight_class, set()).add((one.unit, one.serial))
    return {
        weight_class: ClassCandidates(len(balls), balls_root(balls)) for weight_class, balls in sorted(by_class.items())
    }
