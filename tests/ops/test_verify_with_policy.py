"""`pourbook verify book` and `verify receipt` with a policy: the quorum, what was published, and the tokens over it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.policy import PolicyWitness, format_policy
from ledger.book.signing import format_verifier
from ledger.duties.publishing import PublishingPlan
from ledger.duties.token_talk import Authority
from ledger.evidence.time_token import parse_roots
from ledger.store.published import Published, put_published
from ops.cli import main
from tests.duties.published_plant import PublishedPlant, served_tsa
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import ORIGIN, SIGNER, VERIFIER
from tests.whole.damage import drop_triggers
from tests.witnesses import policy_of, running_witness, witness_key


class Case:
    """A book that was published twice, its policy file, its roots, and the answers of a command."""

    def __init__(
        self, folder: Path, plant: PublishedPlant, tsa: OpenSslTsa, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """Keep where things are."""
        self.folder, self.plant, self.tsa, self._capsys = folder, plant, tsa, capsys
        self.file = folder / "book.sqlite"
        self.policy = str(folder / "policy")
        self.roots = str(tsa.folder / "root.crt")

    def run(self, *words: str) -> tuple[int, str]:
        """The exit code, and all that was said."""
        code = main(["verify", *words])
        told = self._capsys.readouterr()
        return code, told.out + told.err

    def book(self, *more: str) -> tuple[int, str]:
        """`pourbook verify book`."""
        return self.run("book", "--store", self.plant.url, "--key", VERIFIER, "--without-views", *more)


@pytest.fixture
def case(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Case]:
    """One of two witnesses away."""
    plant, tsa = PublishedPlant(tmp_path), OpenSslTsa(tmp_path / "tsa")
    with running_witness(tmp_path, "w") as witness, served_tsa(tsa) as url:
        away = PolicyWitness("away", witness_key("away").verifier, "http://127.0.0.1:9")
        policy = policy_of(witness.named("w"), away, threshold=1)
        (tmp_path / "policy").write_bytes(format_policy(policy))
        plan = PublishingPlan(
            policy=policy, authorities=(Authority("one", url),), roots=parse_roots(tsa.roots), token_every_s=1
        )
        publishing = plant.publishing(plan, Outgoing(30))
        for _ in range(2):
            publishing.turn()
            plant.grows()
            plant.now_ms += 2_000
        yield Case(tmp_path, plant, tsa, capsys)
    plant.book.close()


def test_a_book_is_checked_against_its_policy_and_roots(case: Case) -> None:
    """What is published is of this book, the quorum signed it, the tokens lead to a root; each is said only if checked."""
    published = case.plant.published()
    assert published is not None
    code, told = case.book("--policy", case.policy, "--tsa-root", case.roots)
    assert 0 == code, told
    assert f"2 checkpoints are of this book, the newest at {published.size} entries" in told
    assert "w signed the newest; the policy asks for 1 of (w, away)" in told
    assert "time tokens: 2 lead to a root given, the last states " in told
    assert "another head" not in told
    code, told = case.book()
    assert (0, True, True) == (code, "2, not checked without --tsa-root" in told, "another head" in told)


def test_a_policy_that_is_not_met_is_the_finding(case: Case) -> None:
    """Both witnesses are asked for, and one signed."""
    both = Path(case.policy).read_bytes().replace(b" 1 w away", b" 2 w away")
    (case.folder / "both").write_bytes(both)
    code, told = case.book("--policy", str(case.folder / "both"))
    assert (1, True) == (code, "quorum of witnesses is not reached: expected 2 of (w, away), got w" in told)


def test_a_root_of_another_authority_is_the_finding(case: Case) -> None:
    """A token that leads nowhere is named with its checkpoint."""
    other = OpenSslTsa(case.folder / "other")
    code, told = case.book("--tsa-root", str(other.folder / "root.crt"))
    assert (1, True) == (code, "time token of one: time token does not lead to a root given" in told)


def test_a_book_without_anything_published_is_said_so(case: Case) -> None:
    """And with a policy it is the finding."""
    with closing(sqlite3.connect(case.file)) as connection, connection:
        connection.execute("DELETE FROM published")
    code, told = case.book()
    assert (0, True) == (code, "published: nothing, so no witness vouches for this book" in told)
    code, told = case.book("--policy", case.policy)
    assert (1, True) == (code, "nothing is published that the policy could be held against" in told)


def test_a_published_checkpoint_of_another_history_is_the_finding(case: Case) -> None:
    """Its root is not what the entries give, though the log's own key signed it."""
    put_published(case.plant.book.store, Published(3, sign_checkpoint(ORIGIN, 3, bytes(32), [SIGNER]), 1))
    code, told = case.book()
    assert (1, True) == (code, "published checkpoint of 3 entries: what was published is not this book" in told)


def test_a_changed_note_and_a_changed_token_are_the_finding(case: Case) -> None:
    """With the triggers gone, one byte of a note or of a token shows, named by its size."""
    drop_triggers(case.file)
    for statement, problem in (
        (
            "UPDATE time_token SET response = CAST(substr(response, 1, 400) || x'00' || substr(response, 402) AS BLOB)",
            "time token of one",
        ),
        ("UPDATE time_token SET response = 'text'", "cannot be read"),
        (
            "UPDATE published SET note = CAST(substr(note, 1, 20) || x'41' || substr(note, 22) AS BLOB)",
            "published checkpoint of",
        ),
        ("UPDATE published SET note = 5", "published"),
    ):
        with closing(sqlite3.connect(case.file)) as connection, connection:
            connection.execute(statement)
        code, told = case.book("--tsa-root", case.roots)
        assert (1, True) == (code, problem in told), told


def test_a_receipt_is_checked_by_a_policy_alone(case: Case) -> None:
    """Against a published checkpoint; with log lines in the policy no other key is needed. The newest head has no quorum."""
    receipt, entry = case.folder / "receipt", case.folder / "entry"
    receipt.write_text(case.plant.book.receipt(1, published=True), encoding="utf-8")
    entry.write_bytes(case.plant.book.entry_bytes(1))
    whole = case.folder / "whole"
    whole.write_bytes(f"log {VERIFIER}\n".encode() + Path(case.policy).read_bytes())
    code, told = case.run("receipt", str(receipt), str(entry), "--policy", str(whole))
    assert (0, True) == (code, "w signed it; the policy asks for 1 of (w, away)" in told)
    code, told = case.run("receipt", str(receipt), str(entry), "--key", VERIFIER, "--policy", case.policy)
    assert (0, False) == (code, "another head" in told)
    code, told = case.run("receipt", str(receipt), str(entry), "--policy", case.policy)
    assert (1, True) == (code, "no key is given" in told)
    receipt.write_text(case.plant.book.receipt(1), encoding="utf-8")
    code, told = case.run("receipt", str(receipt), str(entry), "--policy", str(whole))
    assert (1, True) == (code, "quorum of witnesses is not reached" in told)
    code, told = case.run("receipt", str(receipt), str(entry), "--policy", str(case.folder / "none"))
    assert (1, True) == (code, "file cannot be read" in told)
    witness = format_verifier(witness_key("w").verifier)
    code, told = case.run("receipt", str(receipt), str(entry), "--key", witness)
    assert (1, True) == (code, "no key is given" in told)
