"""Evidence that stands alone: a dossier under a witness's word, its checks, and the same book with one digit changed.

The witness is another party: in the demo it has a folder, a key and a state of its own, and an address of its own.
"""

from __future__ import annotations

import io
import json
import logging
import shutil
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from api.outgoing import Outgoing
from api.server import serving
from api.witness.app import witness_app
from fixtures_demo.approvals import DONE
from fixtures_demo.build import DemoBook
from fixtures_demo.plant import demo_seed, demo_signers
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.pourbook import open_book, wall_clock_ms
from ledger.application.witness import Witness
from ledger.book.policy import Policy, PolicyLog, PolicyWitness, format_policy
from ledger.book.receipt import check_receipt
from ledger.book.signing import Signer, Verifier, signer_from_seed
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.errors import Contradiction, LedgerError
from ledger.evidence.files import VERIFY_TEXT, verify_page_digest
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import Store, open_store
from ledger.store.published import witness_standings
from ledger.store.reader import open_reader
from ledger.store.witness_state import open_witness_state
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.forging import Digit, Forged, forge
from ops.demo_walk.screen import Screen
from ops.demo_walk.sealed_report import show_report

CHANGED = "hardness"
"""Of the first sample that has a reading of it, one digit is changed."""

WITNESS = "second-party.example/witness"


class Evidence:
    """What is shown, over one running service."""

    def __init__(self, client: Client, screen: Screen, folder: DemoFolder, demo: DemoBook) -> None:
        """Keys of the demo are public, and good for it alone."""
        self._client = client
        self._screen = screen
        self._folder = folder
        self._demo = demo
        self._log: Signer = demo_signers(demo.seed).checkpoint
        self._witness = signer_from_seed(WITNESS, demo_seed("witness", demo.seed), "witness")

    def show(self) -> None:
        """Publish under the witness's word, hand over, check, forge, check again."""
        with self._second_party() as policy:
            self._publish(policy)
            dossier = self._hand_over()
            self._check(dossier, policy)
            show_report(self._screen, self._folder, self._demo, Trust(keys=[self._log.verifier]))
            self._forge(dossier, policy)

    @contextmanager
    def _second_party(self) -> Iterator[Policy]:
        """The witness at its own address; the policy that names it is what a reader goes by."""
        place = self._folder.folder / "second-party"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        state = open_witness_state(place / "state", begin=True)
        known: dict[str, list[Verifier]] = {self._demo.origin: [self._log.verifier]}
        try:
            with serving(witness_app(Witness(state, [self._witness], lambda: known, wall_clock_ms))) as address:
                party = PolicyWitness("second-party", self._witness.verifier, address)
                policy = Policy(logs=(PolicyLog(self._log.verifier),), witnesses=(party,), quorum=party.name)
                (self._folder.folder / "policy.txt").write_bytes(format_policy(policy))
                yield policy
        finally:
            state.close()

    def _publish(self, policy: Policy) -> None:
        store = open_store(self._demo.url)
        try:
            self._ask_witness(policy, store, lambda: self._client.read("/checkpoint", ""))
        finally:
            store.close()
        note = self._client.read("/checkpoint/published", "")
        size = note.split(b"\n", 2)[1].decode()
        self._screen.say("a second party", f"cosigned the book's head of {int(size):,} entries: {WITNESS}")
        self._screen.say("", "time stamps (RFC 3161) come from an authority that a plant names; the demo has none")

    def _ask_witness(self, policy: Policy, store: Store, newest: Callable[[], bytes]) -> None:
        Publishing(
            store,
            PublishingPlan(policy=policy),
            Outgoing(30),
            newest=newest,
            keys=lambda: [self._log.verifier],
            clock_ms=wall_clock_ms,
        ).turn(now=True)

    def _hand_over(self) -> bytes:
        wanted = {"approval_file": DONE}
        dossier = self._client.post_for_bytes("/dossiers", "approvals", wanted)
        file = self._folder.folder / "approval-file.zip"
        file.write_bytes(dossier)
        self._screen.say("dossier", f"of approval file {DONE}: {file} ({len(dossier) / 1e6:.1f} MB)")
        return dossier

    def _check(self, dossier: bytes, policy: Policy) -> None:
        report = check_dossier(io.BytesIO(dossier), Trust(keys=[], policy=policy))
        counts = report.counts
        self._screen.say(
            "1 program",
            f"pourbook verify dossier: right, {counts.balls} balls, {counts.entries} entries, quorum reached",
        )
        self._screen.say(
            "2 browser", f"verify.html in it, offline; its SHA-256 is published: {verify_page_digest()[:16]}..."
        )
        self._screen.say("3 public tools", f"{VERIFY_TEXT} in it lists the commands (openssl, sha256sum)")

    def _forge(self, dossier: bytes, policy: Policy) -> None:
        entry, raw, receipt = _entry_with_reading(dossier)
        place = self._folder.changed / "forged"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        for file in self._folder.folder.glob(f"{self._folder.store.name}*"):
            shutil.copyfile(file, place / file.name)
        forged = forge(place / self._folder.store.name, entry, Digit(CHANGED, 1, _other_digit(raw)), self._log)
        self._screen.say(
            "forged",
            f"a copy of the book by who holds database and key: entry {entry}, {CHANGED} {forged.before} to {forged.after}, "
            f"{forged.rewritten:,} entries hashed and signed anew",
        )
        unit = json.loads(raw)["said"]["records"][0]["unit"]
        serial = str(self._client.get(f"/balls/{unit}", "auditor")["serial"])
        self._show_deceived(place / self._folder.store.name, policy, forged, serial)
        try:
            check_receipt(receipt, _entry_of(place / self._folder.store.name, entry), [self._log.verifier])
        except LedgerError as error:
            self._screen.say("an old receipt", f"does not hold for the changed entry: {error.problem}")

    def _show_deceived(self, file: Path, policy: Policy, forged: Forged, serial: str) -> None:
        signers = demo_signers(self._demo.seed)
        url, stem = f"sqlite:///{file}", self._demo.label_stem
        book = open_book(url, origin=self._demo.origin, signers=signers, label_stem=stem)
        try:
            book.rebuild()
            giver = DossierGiver(note=forged.checkpoint, signer=signers.dossier)
            ball = _dossier(book.store, DossierWanted(serials=(serial,)), giver)
            whole = _dossier(book.store, DossierWanted(approval_file=DONE), giver)
            with _unheard():
                self._ask_witness(policy, book.store, lambda: forged.checkpoint)
            with book.store.reading() as transaction:
                (standing,) = witness_standings(transaction).values()
        finally:
            book.close()
        key = Trust(keys=[self._log.verifier])
        check_dossier(io.BytesIO(ball), key)
        self._screen.say("the key alone", f"is deceived: every hash, proof and signature of a dossier of {serial} fits")
        self._screen.say("the policy", f"is not: {_refused(ball, Trust(keys=[], policy=policy))}")
        self._screen.say("the witness", f"does not sign it: {standing.alarm or standing.fault}")
        self._screen.say("the samples", f"of the approval file were drawn by the old head: {_refused(whole, key)}")
        self._screen.say("a mirror", "that had followed the book keeps both signed heads as evidence (pourbook mirror)")


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


def _entry_of(file: Path, index: int) -> bytes:
    store = open_store(f"sqlite:///{file}")
    try:
        with open_reader(store) as reader:
            raw: bytes = reader.entry(index).bytes
            return raw
    finally:
        store.close()
