"""Credentials about balls, and the issuer's document: from one look at the store, signed by the key for credentials."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ledger.application.epcis import plant_of
from ledger.application.one_sheet import dated_rulebooks, one_sheet
from ledger.book.checkpoint import Checkpoint, UnverifiedCheckpoint, parse_checkpoint
from ledger.book.entry import read_entry
from ledger.book.instant import instant_ms
from ledger.book.signing import NoteSigner
from ledger.errors import NotFound, RuleStands, Unsupported
from ledger.evidence.ball_sheet import BallRows, DatedRulebook
from ledger.evidence.credential import Ground, entries_named, make_credential
from ledger.evidence.credentials_check import credential_keys
from ledger.evidence.did_web import did_document, did_of
from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.event_names import Plant, ball_address
from ledger.line.rows import BookKey
from ledger.store.reader import Reader
from ledger.store.selections import every_row


class Issuer(NamedTuple):
    """Who gives credentials: where addresses begin, the did:web identifier, and the key."""

    stem: str
    did: str
    signer: NoteSigner


def issuer_of(stem: str, did: str, signer: NoteSigner | None) -> Issuer:
    """The issuer that the settings name; ``did`` may be empty: that of the stem. Raises Unsupported without a key."""
    if signer is None:
        raise Unsupported(
            "this service gives no credentials",
            expected="a key of the purpose credential",
            got="none",
            mend="make one (pourbook keys new), introduce it (key-introduced), and name its file in the settings",
        )
    return Issuer(stem, did or did_of(stem), signer)


def issuer_document(reader: Reader, did: str, tree_size: int) -> bytes:
    """The issuer's document with the keys that speak for credentials at a size of the book. Raises NotFound for none."""
    keys = credential_keys(_keys(reader), tree_size)
    if not keys:
        raise NotFound(
            "no key for credentials is in the book", mend="introduce one (key-introduced, purpose credential)"
        )
    return did_document(did, keys)


def ball_credential(reader: Reader, unit: str, issuer: Issuer, note: bytes) -> bytes:
    """The credential of a ball under the checkpoint ``note``. Raises NotFound, RuleStands, and as `credential_of`."""
    found = one_sheet(reader, unit)
    credentials = Credentials(reader, issuer, parse_checkpoint(note))
    return credentials.of_ball(found.rows, found.sheet, dated_rulebooks(reader, found.rows.model.model))


class Credentials:
    """Makes credentials of balls under one head of the book."""

    def __init__(self, reader: Reader, issuer: Issuer, head: UnverifiedCheckpoint | Checkpoint) -> None:
        """Raise RuleStands where the issuer's key does not speak at that head."""
        self._reader = reader
        self._issuer = issuer
        self._head = head
        self._plant: Plant = plant_of(reader, issuer.stem)
        self._entered: dict[int, str] = {}
        if issuer.signer.verifier.public not in credential_keys(_keys(reader), head.tree_size):
            raise RuleStands(
                "key does not speak for credentials of this book",
                expected="one that was introduced for them",
                got=issuer.signer.verifier.name,
                mend="introduce it (key-introduced, purpose credential), or name the file of the one that was",
            )

    def of_ball(self, rows: BallRows, sheet: BallSheet, rulebooks: Sequence[DatedRulebook]) -> bytes:
        """The credential of a ball by its sheet, which these rulebooks judged. Raises NotFound for one without a number."""
        if rows.unit.serial is None:
            raise NotFound(f"unit {sheet.unit} bears no number", where="unit", mend="engrave it first")
        ground = Ground(
            plant=self._plant,
            issuer=self._issuer.did,
            ball=ball_address(self._plant, rows.unit, rows.model.gtin),
            rulebooks=rulebooks,
            head=self._head,
            entered=self._newest(sheet),
        )
        return make_credential(sheet, ground, self._issuer.signer)

    def _newest(self, sheet: BallSheet) -> str:
        """When the newest fact that the sheet names was entered."""
        indexes = entries_named(sheet)
        if indexes[-1] >= self._head.tree_size:
            raise NotFound(
                "no checkpoint covers the entry", got=indexes[-1], expected=f"an index below {self._head.tree_size}"
            )
        missing = [index for index in indexes if index not in self._entered]
        for index, raw in self._reader.entries_at(missing) if missing else ():
            self._entered[index] = read_entry(raw).recorded_at
        return max((self._entered[index] for index in indexes), key=instant_ms)


def _keys(reader: Reader) -> list[BookKey]:
    rows: list[BookKey] = every_row(reader.transaction, BookKey)
    return rows
