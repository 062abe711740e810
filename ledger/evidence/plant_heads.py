"""The heads that plants of a directory show: each checked by the plant's own keys, and which witnesses they share.

A checkpoint has no date.  What is known of its age is when a witness signed the newest published one.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

from ledger.book.checkpoint import Checkpoint, check_checkpoint
from ledger.book.policy import Policy, Quorum, quorum_of
from ledger.errors import ConsistencyFailed
from ledger.tracing.plants import Plant


class PlantHead(NamedTuple):
    """What one plant's service shows: its newest head, and the newest published one as far as the policy knows its witnesses.

    ``signed_at``: the latest POSIX second that a witness of the policy stated.  ``quorum``: None without a policy.
    """

    plant: Plant
    size: int
    published_size: int | None = None
    witnesses: tuple[str, ...] = ()
    signed_at: int | None = None
    quorum: Quorum | None = None


def check_plant_head(
    plant: Plant, note: bytes, published: bytes | None = None, policy: Policy | None = None
) -> PlantHead:
    """Check what a plant shows; ``published`` was read before ``note``.

    Raises MalformedNote, MalformedCheckpoint, SignatureRejected for a note that is not of this plant's book, and
    ConsistencyFailed for a head that is behind what was published, or of another history at the same size.
    """
    if published is None:
        head = check_checkpoint(note, plant.verifiers, plant.origin)
        return PlantHead(plant, head.tree_size, quorum=None if policy is None else quorum_of(policy, ()))
    witnesses = () if policy is None else tuple(one.verifier for one in policy.witnesses)
    shown = check_checkpoint(published, [*plant.verifiers, *witnesses], plant.origin)
    head = check_checkpoint(note, plant.verifiers, plant.origin, at_least_size=shown.tree_size)
    if (head.tree_size, shown.root_hash) == (shown.tree_size, head.root_hash) or head.tree_size > shown.tree_size:
        return _witnessed(plant, head, shown, policy)
    raise ConsistencyFailed("head and published checkpoint of one size have two roots", where=f"size {head.tree_size}")


def without_common(heads: Sequence[PlantHead]) -> list[tuple[Plant, Plant]]:
    """The pairs of plants that no witness of the policy has signed for both; plants that none has signed for are left out."""
    signed = [head for head in heads if head.witnesses]
    return [(one.plant, two.plant) for one, two in combinations(signed, 2) if not {*one.witnesses} & {*two.witnesses}]


def _witnessed(plant: Plant, head: Checkpoint, shown: Checkpoint, policy: Policy | None) -> PlantHead:
    if policy is None:
        return PlantHead(plant, head.tree_size, shown.tree_size)
    quorum = quorum_of(policy, (line.verifier for line in shown.cosignatures))
    latest = max((line.at_seconds for line in shown.cosignatures if line.at_seconds is not None), default=None)
    return PlantHead(plant, head.tree_size, shown.tree_size, quorum.witnessed, latest, quorum)
