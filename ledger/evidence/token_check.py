"""The time stamps of a dossier: tokens over the bytes of its checkpoint, against the roots that the reader trusts.

Without roots, or where the library that reads tokens is not installed, nothing is checked, and the report says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.errors import MalformedDossier, Unsupported
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import MAX_TOKENS
from ledger.evidence.first_fault import naming_file
from ledger.evidence.time_token import MAX_RESPONSE_BYTES, check_token

if TYPE_CHECKING:
    from cryptography import x509


@dataclass(frozen=True, slots=True)
class TokenFound:
    """A token that was checked: its name in the dossier, the time it states (POSIX milliseconds), who says so."""

    name: str
    at_ms: int
    authority: str


def check_tokens(
    archive: Archive, names: Sequence[str], checkpoint: bytes, roots: Sequence[x509.Certificate]
) -> tuple[tuple[TokenFound, ...], str]:
    """Check the tokens over ``checkpoint``; what was found, and why the rest was not checked (empty: it was).

    Raises MalformedDossier or DossierRejected naming the token.
    """
    if len(names) > MAX_TOKENS:
        raise MalformedDossier("dossier holds too many time stamps", expected=f"at most {MAX_TOKENS}", got=len(names))
    raws = [(name, archive.read(f"tokens/{name}.tsr", MAX_RESPONSE_BYTES)) for name in names]
    if not roots:
        return (), "no root certificate of a time stamping authority was given"
    try:
        return tuple(_checked(raws, checkpoint, roots)), ""
    except Unsupported as error:
        return (), error.problem


def _checked(
    raws: Iterable[tuple[str, bytes]], checkpoint: bytes, roots: Sequence[x509.Certificate]
) -> Iterable[TokenFound]:
    for name, raw in raws:
        with naming_file(f"tokens/{name}.tsr"):
            token = check_token(raw, checkpoint, roots)
        yield TokenFound(name, token.at_ms, token.authority)
