"""The credentials of a dossier: good in themselves, by a key that the book knows, and saying what the sheets give.

The issuer's document in the dossier must be the one that the book's own keys give: those introduced for credentials that
speak for this size of the book.  That the identifier is the maker's is not checked here: it takes the domain.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.checkpoint import Checkpoint
from ledger.book.entry import read_entry
from ledger.book.instant import instant_ms
from ledger.book.signing import parse_verifier
from ledger.errors import DossierRejected, MalformedDossier, MalformedInput, MalformedLink
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import BallRows, DatedRulebook
from ledger.evidence.credential import Ground, entries_named, pinned_contexts
from ledger.evidence.credential_check import check_claims, check_credential, parse_credential, stated_terms
from ledger.evidence.did_web import did_document, parse_did_document
from ledger.evidence.dossier_format import DID, MAX_CREDENTIAL_BYTES, MAX_KEYS_BYTES, BallSheet
from ledger.evidence.event_names import Plant, ball_address
from ledger.line.rows import BookKey


class CredentialsCheck:
    """Checks credentials one at a time; ``now_ms``: the reader's clock, without which dates are not held against it."""

    def __init__(
        self,
        archive: Archive,
        checkpoint: Checkpoint,
        rulebooks: Sequence[DatedRulebook],
        keys: Iterable[BookKey],
        now_ms: int | None = None,
    ) -> None:
        """Read the issuer's document. Raises MalformedDossier, or DossierRejected for one that the keys do not give."""
        self._archive = archive
        self._checkpoint = checkpoint
        self._rulebooks = rulebooks
        self._now_ms = now_ms
        raw = archive.read(DID, MAX_KEYS_BYTES)
        self._issuer = parse_did_document(raw, DID)
        try:
            found = did_document(self._issuer.id, credential_keys(keys, checkpoint.tree_size))
        except MalformedInput as error:
            raise MalformedDossier(error.problem, got=self._issuer.id, where=DID) from error
        if found != raw:
            raise DossierRejected("issuer's keys are not those that the entries introduce for credentials", where=DID)

    def check(self, rows: BallRows, sheet: BallSheet) -> None:
        """Check the credential of a ball whose sheet has been checked. Raises MalformedDossier or DossierRejected."""
        name = credential_name(sheet.unit)
        secured = parse_credential(self._archive.read(name, MAX_CREDENTIAL_BYTES), name)
        terms = stated_terms(secured, name)
        try:
            plant = Plant(terms.removesuffix("/terms/"), self._checkpoint.origin)
        except MalformedLink as error:
            raise MalformedDossier("prefix stands for no address", got=terms, where=name) from error
        document = check_credential(secured, self._issuer, pinned_contexts(plant.terms), at_ms=self._now_ms, where=name)
        ground = Ground(
            plant=plant,
            issuer=self._issuer.id,
            ball=ball_address(plant, rows.unit, rows.model.gtin),
            rulebooks=self._rulebooks,
            head=self._checkpoint,
            entered=self._entered(sheet),
        )
        check_claims(document, sheet, ground, name)

    def _entered(self, sheet: BallSheet) -> str:
        raws = (self._archive.read(f"entries/{index}.json", MAX_ENTRY_BYTES) for index in entries_named(sheet))
        return max((read_entry(raw).recorded_at for raw in raws), key=instant_ms)


def credential_keys(keys: Iterable[BookKey], tree_size: int) -> list[bytes]:
    """The public keys of those that speak for credentials of a book of that size."""
    return [
        parse_verifier(row.verifier).public
        for row in keys
        if row.purpose == "credential"
        and row.from_size <= tree_size
        and (row.to_size is None or tree_size <= row.to_size)
    ]


def credential_name(unit: str) -> str:
    """The file of a ball's credential."""
    return f"credentials/{unit}.json"
