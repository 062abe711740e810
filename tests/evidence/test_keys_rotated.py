"""Keys that take over from others: old dossiers verify for ever, and a later key seals no earlier range anew."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from typing import Any

import pytest

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.key_terms import KeyTerm
from ledger.book.merkle import root
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.errors import DossierRejected, LedgerError
from ledger.evidence.dossier_format import Scope
from ledger.evidence.entry_facts import fold_facts
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.line.fact import Fact
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import LOG, ORIGIN, SEALER, SUBMISSIONS, HandMadeBook, content, made_book, written

NEXT = signer_from_seed(ORIGIN, hashlib.sha256(b"the key that takes over").digest())
NEXT_SEALER = signer_from_seed(SEALER.name, hashlib.sha256(b"the dossier key that takes over").digest(), "dossier")
AT = "2025-02-13T08:00:00.000+00:00"


def introduced(signer: Signer, purpose: str) -> list[dict[str, Any]]:
    """A key is introduced."""
    line = format_verifier(signer.verifier)
    return [{"kind": "key-introduced", "key": signer.name, "purpose": purpose, "verifier": line, "at": AT}]


def revoked(signer: Signer) -> list[dict[str, Any]]:
    """A key speaks no more."""
    key_id = signer.verifier.key_id.hex()
    return [{"kind": "key-revoked", "key": signer.name, "id": key_id, "reason": "rotation", "at": AT}]


SAID = (
    *SUBMISSIONS,
    introduced(NEXT, "checkpoint"),
    introduced(NEXT_SEALER, "dossier"),
    revoked(LOG),
    revoked(SEALER),
    [SUBMISSIONS[10][0] | {"unit": "U-8", "serial": "2345ACDFM"}],
)
TAKES_OVER = len(SUBMISSIONS)
"""The entry that introduces the next key."""
ENDED = TAKES_OVER + 2
"""The last size for which the old key speaks."""


def dossier(size: int, signers: Sequence[Signer], sealer: Signer = SEALER, said: Sequence[Any] = SAID) -> bytes:
    """The keys' entries of the book at a size, sealed by these keys."""
    made = made_book(said[:size])
    hashes = [entry_hash(raw) for raw in made.raws]
    note = sign_checkpoint(ORIGIN, size, root(hashes), signers)
    made = HandMadeBook(made.raws, made.openings, made.records, note)
    facts = [Fact(index, 0, records[0], "a1", 0) for index, records in enumerate(made.records)]
    told = [
        index for index in range(size) if said[index][0]["kind"] in ("book-opened", "key-introduced", "key-revoked")
    ]
    keys = [fact for fact in facts if fact.index in told]
    return written(
        content(
            scope=Scope(kind="selection", words="keys alone"),
            checkpoint=note,
            keys=fold_facts(keys).all_of(BookKey),
            entries=[made.entry(index) for index in told],
            balls=[],
            rulebooks=(),
            signer=sealer,
        )
    )


def check(raw: bytes, *keys: KeyTerm | Signer) -> int:
    """The size of the book that was proved."""
    given = [key.verifier if isinstance(key, Signer) else key for key in keys]
    return check_dossier(io.BytesIO(raw), Trust(keys=given)).tree_size


def wrong(raw: bytes, *keys: KeyTerm | Signer) -> LedgerError:
    """Why it is refused."""
    with pytest.raises(DossierRejected) as found:
        check(raw, *keys)
    return found.value


TERMS = (KeyTerm(LOG.verifier, 0, ENDED), KeyTerm(NEXT.verifier, TAKES_OVER + 1))


def test_a_dossier_from_before_verifies_for_ever() -> None:
    """By the key of its time, whether or not the reader knows the one that took over."""
    old = dossier(TAKES_OVER, [LOG])
    assert [TAKES_OVER] * 3 == [check(old, LOG), check(old, LOG, NEXT), check(old, *TERMS)]


def test_both_keys_sign_while_both_speak() -> None:
    """Whoever knows either can check it, and so follows from the old key to the new one."""
    between = dossier(TAKES_OVER + 2, [LOG, NEXT])
    assert [TAKES_OVER + 2] * 3 == [check(between, LOG), check(between, NEXT), check(between, *TERMS)]


def test_a_dossier_from_after_is_under_the_new_key() -> None:
    """The old key is not needed any more, and proves nothing by itself."""
    new = dossier(len(SAID), [NEXT], NEXT_SEALER)
    assert [len(SAID)] * 2 == [check(new, NEXT), check(new, *TERMS)]
    assert "checkpoint" == wrong(new, LOG).where


def test_a_stolen_later_key_seals_no_earlier_range() -> None:
    """Its entries of then introduce no such key."""
    error = wrong(dossier(TAKES_OVER - 2, [NEXT]), NEXT)
    assert ("keys.json", "no entry here introduces the checkpoint key") == (error.where, error.problem)


def test_not_even_in_a_book_that_says_otherwise() -> None:
    """A whole book made anew, in which that key speaks from the start, is refused by the sizes that the reader knows."""
    opened = SUBMISSIONS[0][0] | {"verifier": format_verifier(NEXT.verifier)}
    forged = dossier(5, [NEXT], said=([opened], *SUBMISSIONS[1:]))
    assert "does not speak for this size" in wrong(forged, *TERMS).problem
    assert "does not speak for this size" in wrong(forged, TERMS[1]).problem


def test_an_old_key_seals_no_later_range() -> None:
    """A key that was revoked, and perhaps stolen, is not heard for sizes above its revocation."""
    later = dossier(len(SAID), [LOG], NEXT_SEALER)
    assert "checkpoint key does not speak for this size" == wrong(later, LOG).problem
    assert "does not speak for this size" in wrong(later, *TERMS).problem


@pytest.mark.parametrize("sealer", [SEALER, NEXT_SEALER])
def test_a_dossier_key_speaks_for_its_sizes(sealer: Signer) -> None:
    """The old one not after its revocation, the new one not before its introduction."""
    size, log = (len(SAID), NEXT) if sealer is SEALER else (TAKES_OVER, LOG)
    assert wrong(dossier(size, [log], sealer), log).where in (sealer.name, "manifest.sig")
