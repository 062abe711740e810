"""Who holds the database and the book's key changes one digit and signs all of it anew: what that deceives, and what it does not."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.app import create_app
from api.delivery import Delivery
from api.outgoing import Outgoing
from api.server import serving
from api.settings import Settings
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.pourbook import Pourbook, open_book
from ledger.book.checkpoint import check_checkpoint
from ledger.book.policy import Policy, PolicyLog
from ledger.book.receipt import check_receipt
from ledger.book.signing import format_verifier
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.errors import CheckFailed, StoreDamaged
from ledger.evidence.time_token import check_token, parse_roots
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ledger.store.engine import open_store
from ledger.store.published import newest_published, time_tokens, witness_standings
from ledger.store.reader import open_reader
from ops.cli import main
from ops.demo_walk.forging import Digit, Forged, forge
from tests.api.running import SIGNERS, STEM
from tests.duties.published_plant import PublishedPlant, served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import ORIGIN, SIGNER
from tests.witnesses import Running, policy_of, running_witness

KEY = format_verifier(SIGNER.verifier)
SERIAL = "P000002"


class Story:
    """An honest book that was published and handed over, and the copy of it that was forged afterwards."""

    def __init__(self, folder: Path, witness: Running, tsa_url: str, roots: bytes) -> None:
        """Make both."""
        self.folder = folder
        self.witness = witness
        self.roots = parse_roots(roots)
        self.policy = replace(policy_of(witness.named("w")), logs=(PolicyLog(SIGNER.verifier),))
        plant = PublishedPlant(folder)
        self.entry = [plant.grows() for _ in range(3)][1] - 1
        self.plan = PublishingPlan(
            policy=self.policy, authorities=(Authority("stamps", tsa_url),), roots=self.roots, token_every_s=1
        )
        plant.publishing(self.plan).turn()
        published = plant.published()
        assert published is not None
        self.published = published.note
        with plant.book.store.reading() as transaction:
            (token,) = time_tokens(transaction, published.size)
        self.token = token.response
        self.receipt, self.raw = plant.book.receipt(self.entry), plant.book.entry_bytes(self.entry)
        self.honest = self.dossier(plant.url)
        (folder / "copy").write_bytes(plant.book.checkpoint())
        plant.book.close()
        (folder / "forged").mkdir()
        self.forged_file = folder / "forged" / "book.sqlite"
        shutil.copyfile(folder / "book.sqlite", self.forged_file)
        self.url = f"sqlite:///{self.forged_file}"
        self.forged: Forged = forge(self.forged_file, self.entry, Digit("mass", 1, "4"), SIGNER)
        book = self.opened()
        book.rebuild()
        book.close()

    def opened(self) -> Pourbook:
        """The forged book, not started."""
        return open_book(self.url, origin=ORIGIN, signers=SIGNERS, label_stem=STEM)

    def dossier(self, url: str) -> bytes:
        """The dossier of the ball, from a store."""
        store, out = open_store(url), io.BytesIO()
        try:
            with open_reader(store) as reader:
                note = reader.head().checkpoint
                assert note is not None
                write_wanted(
                    reader, out, DossierWanted(serials=(SERIAL,)), DossierGiver(note=note, signer=SIGNERS.dossier)
                )
        finally:
            store.close()
        return out.getvalue()

    def trust(self, policy: Policy | None = None) -> Trust:
        """A reader with the book's key, and perhaps a policy."""
        return Trust(keys=[KEY], policy=policy, roots=self.roots)


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    """Both books, while the witness and the authority still answer."""
    folder = tmp_path_factory.mktemp("forged")
    tsa = OpenSslTsa(folder / "tsa")
    with running_witness(folder, "w") as witness, served_tsa(tsa) as url:
        yield Story(folder, witness, url, tsa.roots)


def test_key_alone_is_deceived(story: Story) -> None:
    """The forged book passes the whole check, and its dossier every check of who trusts its key and nobody else."""
    assert (story.forged.before, story.forged.after) == ("15.05", "14.05")
    book = story.opened()
    assert book.check().entries == check_checkpoint(story.forged.checkpoint, [KEY]).tree_size
    book.close()
    forged = story.dossier(story.url)
    report = check_dossier(io.BytesIO(forged), story.trust())
    assert report.counts.balls == 1
    assert "no cosignature" in "\n".join(report.lines())
    assert b'"14.05"' in forged
    assert b'"14.05"' not in story.honest


def test_policy_of_the_reader_is_not_deceived(story: Story) -> None:
    """Who asks for the witness's word takes the honest dossier, with its time, and refuses the forged one."""
    report = check_dossier(io.BytesIO(story.honest), story.trust(story.policy))
    told = "\n".join(report.lines())
    assert "w.witness.test" in told
    assert "stamps" in told
    with pytest.raises(CheckFailed, match="quorum"):
        check_dossier(io.BytesIO(story.dossier(story.url)), story.trust(story.policy))


def test_witness_does_not_sign_a_second_past(story: Story) -> None:
    """Asked to cosign the forged head, it refuses and is an alarm; nothing of the forged book is ever published."""
    book = story.opened()
    Publishing(
        book.store,
        story.plan,
        Outgoing(30),
        newest=lambda: story.forged.checkpoint,
        keys=lambda: [SIGNER.verifier],
        clock_ms=book.clock_ms,
    ).turn(now=True)
    with book.store.reading() as transaction:
        (standing,) = witness_standings(transaction).values()
        published = newest_published(transaction)
    book.close()
    assert published is None
    assert standing.alarm


def test_earlier_token_does_not_fit_the_forged_head(story: Story) -> None:
    """The authority's word is over the honest bytes: under a head of the same size and another root it is worth nothing."""
    honest, forged = check_checkpoint(story.published, [KEY]), check_checkpoint(story.forged.checkpoint, [KEY])
    assert honest.tree_size == forged.tree_size
    assert check_token(story.token, story.published, story.roots).at_ms > 0
    with pytest.raises(CheckFailed):
        check_token(story.token, story.forged.checkpoint, story.roots)


def test_receipt_of_before_does_not_hold_for_the_changed_entry(story: Story) -> None:
    """Whoever kept the entry and its receipt can show that the book was another one."""
    check_receipt(story.receipt, story.raw, [KEY])
    store = open_store(story.url)
    with open_reader(store) as reader:
        changed = reader.entry(story.entry).bytes
    store.close()
    assert changed != story.raw
    with pytest.raises(CheckFailed):
        check_receipt(story.receipt, changed, [KEY])


def test_service_does_not_start_on_it_where_a_checkpoint_lies_elsewhere(story: Story) -> None:
    """The copy of the newest checkpoint on another disk is of another book."""
    book = story.opened()
    with pytest.raises(StoreDamaged, match="another history"):
        book.start((story.folder / "copy").read_bytes())
    book.close()


def test_mirror_keeps_both_heads_as_evidence(story: Story, capsys: pytest.CaptureFixture[str]) -> None:
    """A mirror that followed the honest book finds the fork at the first look, and the folder convinces others."""
    mirror = story.folder / "mirror"
    for url in (f"sqlite:///{story.folder / 'book.sqlite'}", story.url):
        delivery = Delivery()
        book = open_book(url, origin=ORIGIN, signers=SIGNERS, label_stem=STEM, deliver=delivery)
        book.start()
        with serving(create_app(book, Settings(long_reads=0), delivery)) as address:
            code = main(["mirror", str(mirror), "--from", address, "--key", KEY])
    assert code == 1
    assert "the book was forked" in capsys.readouterr().err
    assert main(["verify", "fork", str(mirror / "fork"), "--key", KEY]) == 0
