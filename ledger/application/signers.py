"""The keys that one book signs with: one key, one purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from ledger.book.signing import Signer

if TYPE_CHECKING:
    from ledger.evidence.pdf.seal import Sealer


class Signers(NamedTuple):
    """``checkpoint`` is named as the book's origin; ``dossier`` is named ``<origin>/dossier``.

    ``credential``, named ``<origin>/credential``, signs credentials about balls; without it none are given.
    ``seal`` signs the reports of dossiers, which carry no seal without it; it is no key of the book.

    ``next_checkpoint``, while the checkpoint key is being rotated: the key of the same name that takes over.  Each signs
    the sizes for which the book says that it speaks.
    """

    checkpoint: Signer
    dossier: Signer
    next_checkpoint: Signer | None = None
    credential: Signer | None = None
    seal: Sealer | None = None

    def checkpoints(self) -> tuple[Signer, ...]:
        """Every checkpoint key at hand."""
        return (self.checkpoint,) if self.next_checkpoint is None else (self.checkpoint, self.next_checkpoint)


def dossier_key_name(origin: str) -> str:
    """The name of a book's dossier key."""
    return f"{origin}/dossier"


def credential_key_name(origin: str) -> str:
    """The name of a book's key for credentials."""
    return f"{origin}/credential"
