"""The plan of publishing from the settings: what they name is read, checked, and refused with the variable's name."""

from __future__ import annotations

import socket
import sys
from pathlib import Path
from typing import Any

import pytest

from api.publishing import Sender, parse_authorities, publishing_plan
from api.settings import Settings
from ledger.book.policy import PolicyWitness, format_policy
from ledger.book.signing import format_verifier
from ledger.duties.token_talk import Authority
from ledger.duties.witness_talk import Unreached
from ledger.errors import LedgerError, MalformedInput, MalformedKey, Unsupported
from tests.book.samples import NEXT_LOG
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import SIGNER
from tests.witnesses import policy_of, witness_key

KEYS = [SIGNER.verifier]


def settings(folder: Path, policy: bytes | None = None, **more: Any) -> Settings:
    """Settings with a policy file, and others."""
    if policy is not None:
        (folder / "policy").write_bytes(policy)
        more["witness_policy"] = str(folder / "policy")
    return Settings(**more)


def named(name: str, url: str) -> PolicyWitness:
    """A witness at an address."""
    return PolicyWitness(name, witness_key(name).verifier, url)


def test_without_witnesses_and_authorities_there_is_no_plan(tmp_path: Path) -> None:
    """Nothing is published then."""
    assert publishing_plan(settings(tmp_path), KEYS) is None


def test_the_plan_has_what_the_settings_name(tmp_path: Path) -> None:
    """Policy, stretches in seconds, authorities and their roots."""
    tsa = OpenSslTsa(tmp_path / "tsa")
    (tmp_path / "roots").write_bytes(tsa.roots)
    policy = policy_of(named("w", "https://w.example/witness"))
    plan = publishing_plan(
        settings(
            tmp_path,
            format_policy(policy),
            publish_s=30,
            tsa="one http://tsa.example/\n two https://tsa.example/two ; three http://localhost:1/",
            tsa_roots=str(tmp_path / "roots"),
            tsa_minutes=5,
        ),
        KEYS,
    )
    assert plan is not None
    assert (policy, 30, 300, 1) == (plan.policy, plan.every_s, plan.token_every_s, len(plan.roots))
    assert ["one", "two", "three"] == [authority.name for authority in plan.authorities]


def test_witnesses_beside_the_book_are_found(tmp_path: Path) -> None:
    """By a loopback address, by this machine's own name, and by a key that lies with the book's."""
    here = f"https://{socket.gethostname()}/w"
    witnesses = [
        named("loop", "http://127.0.0.1:8770"),
        named("host", here),
        named("key", "https://key.example"),
        named("far", "https://far.example"),
        named("silent", ""),
    ]
    beside = {witness_key("key").verifier.public}
    plan = publishing_plan(settings(tmp_path, format_policy(policy_of(*witnesses))), KEYS, beside)
    assert plan is not None
    assert {
        "loop": "its address is on the machine of the book",
        "host": "its address is on the machine of the book",
        "key": "its key lies in the folder of the book's own key",
    } == plan.beside


LOG = f"log {format_verifier(SIGNER.verifier)}\n"
OTHER = f"log {format_verifier(NEXT_LOG.verifier)}\n"
W = f"witness w {format_verifier(witness_key('w').verifier)}"


@pytest.mark.parametrize(
    ("policy", "error", "problem"),
    [
        ("quorum x\n", MalformedInput, "POURBOOK_WITNESS_POLICY, policy line 1: quorum is not defined above"),
        (f"{OTHER}quorum none\n", MalformedKey, "POURBOOK_WITNESS_POLICY: policy names other logs than this book"),
        (f"{W} http://w.example/\nquorum w\n", MalformedInput, "POURBOOK_WITNESS_POLICY, witness w.witness.test"),
        (f"{W} w.example\nquorum w\n", MalformedInput, "address is none"),
    ],
)
def test_a_policy_that_is_of_no_use_is_refused(
    policy: str, error: type[LedgerError], problem: str, tmp_path: Path
) -> None:
    """Broken, of another book, or with an address that nothing should go to."""
    with pytest.raises(error) as caught:
        publishing_plan(settings(tmp_path, policy.encode()), KEYS)
    assert problem in str(caught.value)


def test_a_policy_with_the_books_log_among_others_is_taken(tmp_path: Path) -> None:
    """One file may serve several books."""
    plan = publishing_plan(settings(tmp_path, f"{OTHER}{LOG}quorum none\n".encode()), KEYS)
    assert plan is not None
    assert 2 == len(plan.policy.logs)


def test_files_that_are_not_there_are_named(tmp_path: Path) -> None:
    """Policy and roots, by their variables."""
    with pytest.raises(MalformedInput, match="POURBOOK_WITNESS_POLICY: file cannot be read: No such file"):
        publishing_plan(Settings(witness_policy=str(tmp_path / "none")), KEYS)
    with pytest.raises(MalformedInput, match="POURBOOK_TSA_ROOTS: file cannot be read"):
        publishing_plan(Settings(tsa="one http://tsa.example", tsa_roots=str(tmp_path / "none")), KEYS)
    (tmp_path / "text").write_text("no certificate", encoding="utf-8")
    with pytest.raises(MalformedKey, match="no certificates in PEM"):
        publishing_plan(Settings(tsa="one http://tsa.example", tsa_roots=str(tmp_path / "text")), KEYS)


def test_time_stamps_without_their_extra_are_refused_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not an hour later, on the log."""
    (tmp_path / "roots").write_bytes(OpenSslTsa(tmp_path / "tsa").roots)
    monkeypatch.setitem(sys.modules, "rfc3161_client", None)
    with pytest.raises(Unsupported, match="rfc3161-client"):
        publishing_plan(Settings(tsa="one http://tsa.example", tsa_roots=str(tmp_path / "roots")), KEYS)


@pytest.mark.parametrize(
    "text", ["one", "One http://t.example", "one http://t.example more", "one ftp://t.example", "a/b http://t.example",
             "one http://t.example;one http://u.example", "- http://t.example"],
)  # fmt: skip
def test_authorities_written_otherwise_are_refused(text: str) -> None:
    """A name that is a file's name in a dossier, one address, and no name twice."""
    with pytest.raises(MalformedInput, match="POURBOOK_TSA"):
        parse_authorities(text)


@pytest.mark.parametrize(
    ("name", "value"),
    [("publish_s", "0"), ("publish_s", "nan"), ("outgoing_s", "0"), ("outgoing_s", "61"), ("tsa_minutes", "0.5"),
     ("tsa", "one http://t.example"), ("publish_s", "often")],
)  # fmt: skip
def test_settings_out_of_range_are_refused(name: str, value: str) -> None:
    """By the variable's name; time stamps without roots too."""
    with pytest.raises(MalformedInput, match="POURBOOK_"):
        Settings.from_env({f"POURBOOK_{name.upper()}": value})


def test_only_authorities_are_asked_by_plain_http() -> None:
    """A witness elsewhere is reached by https or not at all."""
    send = Sender(Settings(outgoing_s=0.2), (Authority("one", "http://tsa.invalid/a"),))
    told = [send("POST", url) for url in ("http://tsa.invalid/a", "http://tsa.invalid/b")]
    assert [False, True] == ["not https" in one.why for one in told if isinstance(one, Unreached)]
