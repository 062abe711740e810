"""The demo's book with one digit changed by someone who holds the database and its key, and who is not deceived by it."""

from __future__ import annotations

import io
import json
import logging
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager

from fixtures_demo.approvals import DONE
from fixtures_demo.build import DemoBook
from fixtures_demo.plant import demo_signers
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.pourbook import open_book
from ledger.book.receipt import check_receipt
from ledger.errors import Contradiction, LedgerError
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import Store, open_store
from ledger.store.published import (
    Published,
    newest_published,
    put_published,
    put_time_token,
    time_tokens,
    witness_standings,
)
from ledger.store.reader import open_reader
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.forging import Digit, Forged, forge
from ops.demo_walk.parties import Parties
from ops.demo_walk.screen import Screen

CHANGED = "hardness"
"""Of the first sample that has a reading of it, one digit is changed."""


class ForgedBook:
    """What is shown, on a copy of the store."""

    def __init__(self, client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook, parties: Parties) -> None:
        """The copy lies in the folder of what is changed."""
        self._client = client
        self._screen = screen
        self._demo = demo
        self._parties = parties
        self._honest = folder.store
        self._place = folder.changed / "forged"
        self._file = self._place / folder.store.name

    def show(self, dossier: bytes) -> None:
        """Forge the entry of a reading of ``dossier``, then ask everyone."""
        entry, raw, receipt = _entry_with_reading(dossier)
        shutil.rmtree(self._place, ignore_errors=True)
        self._place.mkdir(parents=True)
        for file in self._honest.parent.glob(f"{self._honest.name}*"):
            shutil.copyfile(file, self._place / file.name)
        forged = forge(self._file, entry, Digit(CHANGED, 1, _other_digit(raw)), self._parties.log)
        self._screen.say(
            "forged",
            f"a copy of the book by who holds database and key: entry {entry}, {CHANGED} {forged.before} to {forged.after}, "
            f"{forged.rewritten:,} entries hashed and signed anew",
        )
        unit = json.loads(raw)["said"]["records"][0]["unit"]
        serial = str(self._client.get(f"/balls/{unit}", "auditor")["serial"])
        self._show_deceived(forged, serial)
        try:
            check_receipt(receipt, self._entry(entry), [self._parties.log.verifier])
        except LedgerError as error:
            self._screen.say("an old receipt", f"does not hold for the changed entry: {error.problem}")

    def _show_deceived(self, forged: Forged, serial: str) -> None:
        signers = demo_signers(self._demo.seed)
        url, stem = f"sqlite:///{self._file}", self._demo.label_stem
        book = open_book(url, origin=self._demo.origin, signers=signers, label_stem=stem)
        try:
            book.rebuild()
            giver = DossierGiver(note=forged.checkpoint, signer=signers.dossier)
            ball = _dossier(book.store, DossierWanted(serials=(serial,)), giver)
            whole = _dossier(book.store, DossierWanted(approval_file=DONE), giver)
            with _unheard():
                self._parties.ask(book.store, lambda: forged.checkpoint)
            with book.store.reading() as transaction:
                (standing,) = witness_standings(transaction).values()
            stamped = self._under_the_old_stamp(book.store, forged, DossierWanted(serials=(serial,)), giver)
        finally:
            book.close()
        key = Trust(keys=[self._parties.log.verifier])
        check_dossier(io.BytesIO(ball), key)
        self._screen.say("the key alone", f"is deceived: every hash, proof and signature of a dossier of {serial} fits")
        self._screen.say("the policy", f"is not: {_refused(ball, self._parties.trust)}")
        self._screen.say("the witness", f"does not sign it: {standing.alarm or standing.fault}")
        self._show_stamp(stamped)
        self._screen.say("the samples", f"of the approval file were drawn by the old head: {_refused(whole, key)}")
        self._screen.say("a mirror", "that had followed the book keeps both signed heads as evidence (pourbook mirror)")

    def _under_the_old_stamp(
        self, store: Store, forged: Forged, wanted: DossierWanted, giver: DossierGiver
    ) -> bytes | None:
        """The forged dossier with the time stamp that the honest head got; None where there was none.

        A new one can be had for it, and states the day of the forgery.
        """
        honest = open_store(f"sqlite:///{self._honest}")
        try:
            with honest.reading() as transaction:
                published = newest_published(transaction)
                tokens = [] if published is None else time_tokens(transaction, published.size)
        finally:
            honest.close()
        if published is None or not tokens:
            return None
        put_published(store, Published(published.size, forged.checkpoint, published.published_ms))
        for token in tokens:
            put_time_token(store, token)
        return _dossier(store, wanted, giver)

    def _show_stamp(self, stamped: bytes | None) -> None:
        if stamped is None:
            return
        log = self._parties.log.verifier
        refused = _refused(stamped, Trust(keys=[log], roots=self._parties.stamps.roots))
        said = self._parties.public_tools(stamped)
        also = ""
        if not isinstance(said, str):
            if not any("tokens/" in line for line in said.wrong):
                raise Contradiction("openssl takes the time stamp for the forged head", got=said.text)
            also = "; openssl ts -verify says so too"
        self._screen.say(
            "the time stamp",
            f"of the old head is refused: {refused}{also}. A new one would state the day of the forgery",
        )

    def _entry(self, index: int) -> bytes:
        store = open_store(f"sqlite:///{self._file}")
        try:
            with open_reader(store) as reader:
                raw: bytes = reader.entry(index).bytes
                return raw
        finally:
            store.close()


def _dossier(store: Store, wanted: DossierWanted, giver: DossierGiver) -> bytes:
    out = io.BytesIO()
    with open_reader(store) as reader:
        write_wanted(reader, out, wanted, giver)
    return out.getvalue()


@contextmanager
def _unheard() -> Iterator[None]:
    """What is logged inside is told by the walk itself."""
    logging.disable(logging.CRITICAL)
    try:
        yield
    finally:
        logging.disable(logging.NOTSET)


def _refused(dossier: bytes, trust: Trust) -> str:
    try:
        check_dossier(io.BytesIO(dossier), trust)
    except LedgerError as error:
        return f"{error.where}: {error.problem}"
    raise Contradiction("the forged dossier was taken", expected="a refusal")


def _entry_with_reading(dossier: bytes) -> tuple[int, bytes, str]:
    """The first entry of a dossier with a reading of the quantity: its index, its bytes, its receipt."""
    with zipfile.ZipFile(io.BytesIO(dossier)) as archive:
        for name in archive.namelist():
            if name.startswith("entries/"):
                raw = archive.read(name)
                if f'"quantity":"{CHANGED}"'.encode() in raw and b'"kind":"inspection"' in raw:
                    index = json.loads(raw)["index"]
                    return int(index), raw, archive.read(f"receipts/{index}.tlog-proof").decode()
    raise Contradiction(f"no reading of {CHANGED} in the dossier")


def _other_digit(raw: bytes) -> str:
    """A digit other than the second of the first value read of the quantity."""
    for record in json.loads(raw)["said"]["records"]:
        for reading in record.get("readings", ()):
            if reading["quantity"] == CHANGED:
                return "5" if reading["values"][0][1] != "5" else "6"
    raise Contradiction(f"no reading of {CHANGED} in the entry")
