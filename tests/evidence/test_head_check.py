"""The head of a dossier: keys with their sizes, cosignatures, policies, time stamps, and instants that cannot be."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from ledger.book.key_terms import KeyTerm
from ledger.book.policy import parse_policy
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.head_check import CLOCKS_APART_MS, READERS_CLOCK_MS
from ledger.evidence.report import DossierReport
from ledger.evidence.time_token import parse_roots, request_token
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.evidence.small_dossier import KEY, LOG, made_book, written
from tests.evidence.witnessed_dossier import (
    SAID,
    SEEN_S,
    WITNESSES,
    closed_book,
    cosigned,
    entries_of,
    full_content,
    full_dossier,
    policy_text,
)

SIZE = len(SAID)
RECORDED_S = 1_740_830_400
"""When every entry of the little book was recorded: 2025-03-01T12:00:00Z."""


def report(raw: bytes, trust: Trust) -> DossierReport:
    """What a check found."""
    return check_dossier(io.BytesIO(raw), trust)


def wrong(raw: bytes, trust: Trust) -> LedgerError:
    """The first thing that is wrong."""
    with pytest.raises((MalformedDossier, DossierRejected)) as found:
        report(raw, trust)
    return found.value


def by_policy(threshold: str = "all", **more: Any) -> Trust:
    """A reader who wants so many of the two witnesses."""
    return Trust(keys=(), policy=parse_policy(policy_text(threshold).encode()), **more)


@cache
def seen_at(seconds: int, count: int = 2) -> bytes:
    """The dossier, cosigned at that time by so many witnesses."""
    note = cosigned(made_book(SAID).note, WITNESSES[:count], seconds)
    made = replace(closed_book(), note=note)
    return written(full_content(checkpoint=note, entries=entries_of(made)))


def test_a_policy_may_name_the_book_s_key() -> None:
    """Then no other key is needed, and its quorum is told."""
    found = report(full_dossier(), by_policy())
    assert ("2 of (", 2) == (found.quorum[:6], len(found.cosigned))
    assert {"witnesses", "quorum"} <= {line.code for line in found.checked()}


def test_a_quorum_that_is_not_reached_is_refused() -> None:
    """One of two is not all, and is any."""
    assert "checkpoint" in wrong(seen_at(SEEN_S, 1), by_policy()).where
    assert 1 == len(report(seen_at(SEEN_S, 1), by_policy("any")).cosigned)


def test_without_a_policy_an_unknown_witness_counts_as_none() -> None:
    """And the report says that nobody else is known to have seen this head."""
    found = report(full_dossier(), Trust(keys=[KEY]))
    assert ((), True) == (found.cosigned, "witnesses" in {line.code for line in found.not_checked()})


@pytest.mark.parametrize("term", [(0, None), (SIZE, None), (0, SIZE), (SIZE, SIZE)])
def test_a_key_that_speaks_for_this_size_is_accepted(term: tuple[int, int | None]) -> None:
    """Sizes are inclusive."""
    assert SIZE == report(full_dossier(), Trust(keys=[KeyTerm(LOG.verifier, *term)])).tree_size


@pytest.mark.parametrize("term", [(SIZE + 1, None), (0, SIZE - 1)])
def test_a_key_that_does_not_speak_for_this_size_is_refused(term: tuple[int, int | None]) -> None:
    """However good its signature is."""
    error = wrong(full_dossier(), Trust(keys=[KeyTerm(LOG.verifier, *term)]))
    assert ("checkpoint", SIZE) == (error.where, error.got)
    assert "does not speak for this size" in error.problem


def test_an_entry_is_not_younger_than_what_was_seen_of_it() -> None:
    """A witness that cosigned long before an entry says it was recorded shows that the entry's clock lies."""
    error = wrong(seen_at(RECORDED_S - CLOCKS_APART_MS // 1000 - 1), by_policy())
    assert "entries/" in error.where
    assert "recorded after witness.example/north had seen" in error.problem
    assert report(seen_at(RECORDED_S - CLOCKS_APART_MS // 1000), by_policy()).cosigned


def test_what_is_of_the_reader_s_future_is_refused() -> None:
    """By the reader's clock, if the reader has one."""
    early = SEEN_S * 1000 - READERS_CLOCK_MS - 1
    error = wrong(full_dossier(), by_policy(now_ms=early))
    assert ("checkpoint", "look at the clock of this machine") == (error.where, error.mend)
    assert report(full_dossier(), by_policy(now_ms=early + 1)).cosigned
    recorded = wrong(full_dossier(), Trust(keys=[KEY], now_ms=RECORDED_S * 1000 - READERS_CLOCK_MS - 1))
    assert "entries/" in recorded.where


def test_a_key_of_another_purpose_is_no_log() -> None:
    """A witness's key alone does not sign the book."""
    assert "checkpoint" == wrong(full_dossier(), Trust(keys=[format_verifier(WITNESSES[0].verifier)])).where


def test_an_unreadable_token_is_not_looked_at_without_roots() -> None:
    """The report says so in one line."""
    found = report(full_dossier(), Trust(keys=[KEY]))
    assert ["1 time stamp: no root certificate of a time stamping authority was given"] == [
        line.words for line in found.not_checked() if line.code == "time"
    ]


@pytest.fixture(scope="module")
def tsa(tmp_path_factory: pytest.TempPathFactory) -> OpenSslTsa:
    """A time stamping authority."""
    return OpenSslTsa(tmp_path_factory.mktemp("tsa"))


def stamped(tsa: OpenSslTsa, message: bytes) -> bytes:
    """The dossier with a token over these bytes."""
    return written(full_content(tokens={"tsa-1": tsa.answer(request_token(message).der)}))


def test_a_token_says_since_when_the_checkpoint_exists(tsa: OpenSslTsa) -> None:
    """It is checked against the root that the reader trusts, and told with its authority."""
    found = report(stamped(tsa, closed_book().note), Trust(keys=[KEY], roots=parse_roots(tsa.roots)))
    (token,) = found.tokens
    assert (("tsa-1", "CN=Test TSA"), "") == ((token.name, token.authority), found.tokens_why_not)
    assert any("the checkpoint existed before 20" in line.words for line in found.checked())


def test_a_token_over_other_bytes_is_refused(tsa: OpenSslTsa) -> None:
    """The log's signature alone is not what was stamped."""
    bare = made_book(SAID).note
    error = wrong(stamped(tsa, bare), Trust(keys=[KEY], roots=parse_roots(tsa.roots)))
    assert ("tokens/tsa-1.tsr", True) == (error.where, "over other bytes" in error.problem)


def test_a_token_of_another_authority_is_refused(tsa: OpenSslTsa, tmp_path: Path) -> None:
    """It has to lead to a root given."""
    other = OpenSslTsa(tmp_path / "other")
    error = wrong(stamped(tsa, closed_book().note), Trust(keys=[KEY], roots=parse_roots(other.roots)))
    assert "tokens/tsa-1.tsr" == error.where


def test_an_unreadable_token_is_refused_with_roots(tsa: OpenSslTsa) -> None:
    """Whoever trusts a root wants tokens that are some."""
    assert "tokens/tsa-1.tsr" == wrong(full_dossier(), Trust(keys=[KEY], roots=parse_roots(tsa.roots))).where


def test_too_many_tokens_are_refused() -> None:
    """Twenty at most."""
    many = {f"tsa-{number}": b"x" for number in range(21)}
    assert "too many time stamps" in str(wrong(written(full_content(tokens=many)), Trust(keys=[KEY])))


def test_a_stranger_under_a_witness_s_name_counts_as_none() -> None:
    """Names are not keys."""
    stranger = signer_from_seed(WITNESSES[0].name, bytes(32), "witness")
    note = cosigned(made_book(SAID).note, (stranger, WITNESSES[1]))
    raw = written(full_content(checkpoint=note, entries=entries_of(replace(closed_book(), note=note))))
    assert "checkpoint" in wrong(raw, by_policy()).where
