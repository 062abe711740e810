"""Evidence that stands alone: a dossier under a witness's word and a time stamp, its checks, and the same book forged.

Witness and authority are other parties: in the demo each has a folder, a key and an address of its own.
"""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from api.server import serving
from api.witness.app import witness_app
from fixtures_demo.approvals import DONE
from fixtures_demo.build import DemoBook
from fixtures_demo.plant import demo_seed, demo_signers
from ledger.application.pourbook import wall_clock_ms
from ledger.application.witness import Witness
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.instant import Instant, format_instant
from ledger.book.policy import Policy, PolicyLog, PolicyWitness, format_policy
from ledger.book.signing import Signer, Verifier, signer_from_seed
from ledger.errors import Contradiction
from ledger.evidence.files import VERIFY_TEXT, verify_page_digest
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.published import time_tokens
from ledger.store.witness_state import open_witness_state
from ops.demo_walk.client import Client
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.forged_book import ForgedBook
from ops.demo_walk.parties import Parties
from ops.demo_walk.screen import Screen
from ops.demo_walk.sealed_report import show_report
from ops.demo_walk.time_stamps import time_stamps
from ops.demo_walk.words import counted

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
        """Publish under the witness's word and a time stamp, hand over, check, forge, check again."""
        place = self._folder.folder
        with self._second_party() as policy, time_stamps(place / "third-party") as stamps:
            parties = Parties(self._log, policy, stamps)
            self._publish(parties)
            dossier = self._hand_over()
            self._check(dossier, parties)
            show_report(self._screen, self._folder, self._demo, Trust(keys=[self._log.verifier]), stamps.stamp)
            ForgedBook(self._client, self._screen, self._folder, self._demo, parties).show(dossier)

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

    def _publish(self, parties: Parties) -> None:
        store = open_store(self._demo.url)
        try:
            parties.ask(store, lambda: self._client.read("/checkpoint", ""))
            size = parse_checkpoint(self._client.read("/checkpoint/published", "")).tree_size
            with store.reading() as transaction:
                tokens = time_tokens(transaction, size)
        finally:
            store.close()
        self._screen.say("a second party", f"cosigned the book's head of {size:,} entries: {WITNESS}")
        if tokens:
            at = format_instant(Instant(tokens[0].at_ms))[:19].replace("T", " ")
            whose = "stamped it (RFC 3161; OpenSSL with a root of its own)"
            self._screen.say("a third party", f"{whose}: it was there at {at} UTC")
        else:
            self._screen.say("a third party", f"stamps no time (RFC 3161) here: {parties.stamps.why_none}")

    def _hand_over(self) -> bytes:
        wanted = {"approval_file": DONE}
        dossier = self._client.post_for_bytes("/dossiers", "approvals", wanted)
        file = self._folder.folder / "approval-file.zip"
        file.write_bytes(dossier)
        self._screen.say("dossier", f"of approval file {DONE}: {file} ({len(dossier) / 1e6:.1f} MB)")
        return dossier

    def _check(self, dossier: bytes, parties: Parties) -> None:
        report = check_dossier(io.BytesIO(dossier), parties.trust)
        counts, stamped = report.counts, f", {counted(len(report.tokens), 'time stamp')}" if report.tokens else ""
        self._screen.say(
            "1 program",
            f"pourbook verify dossier: right, {counts.balls} balls, {counts.entries} entries, quorum reached{stamped}",
        )
        self._screen.say(
            "2 browser", f"verify.html in it, offline; its SHA-256 is published: {verify_page_digest()[:16]}..."
        )
        said = parties.public_tools(dossier)
        if isinstance(said, str):
            self._screen.say("3 public tools", f"{VERIFY_TEXT} in it lists the commands; {said}")
            return
        if said.wrong:
            raise Contradiction("public tools find a dossier of the demo wrong", got=said.wrong)
        self._screen.say(
            "3 public tools",
            f"{VERIFY_TEXT} in it lists the commands; those of files, signatures and times were run here by bash and "
            f"openssl: {len(said.right)} right, none wrong",
        )
