"""The keys that one book signs with: one key, one purpose."""

from __future__ import annotations

from typing import NamedTuple

from ledger.book.signing import Signer


class Signers(NamedTuple):
    """``checkpoint`` is named as the book's origin; ``dossier`` is named ``<origin>/dossier``."""

    checkpoint: Signer
    dossier: Signer


def dossier_key_name(origin: str) -> str:
    """The name of a book's dossier key."""
    return f"{origin}/dossier"
