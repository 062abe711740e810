"""Time stamps: what is asked, what is accepted, and in plain words why not. The authority is OpenSSL."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

from ledger.errors import LedgerError, MalformedInput, MalformedKey, SignatureRejected, Unsupported
from ledger.evidence import time_token
from ledger.evidence.time_token import TimeToken, check_token, parse_roots, request_token
from tests.evidence.openssl_tsa import OpenSslTsa

MESSAGE = b"book.example\n7\nroot\n"


@pytest.fixture(scope="module")
def tsa(tmp_path_factory: pytest.TempPathFactory) -> OpenSslTsa:
    """An authority that does as it should."""
    return OpenSslTsa(tmp_path_factory.mktemp("tsa"))


@pytest.fixture(scope="module")
def answer(tsa: OpenSslTsa) -> bytes:
    """Its answer over the message."""
    return tsa.answer(request_token(MESSAGE).der)


def test_a_token_is_asked_for_and_checked(tsa: OpenSslTsa) -> None:
    """The token says when, by whom, how exactly, and answers this request."""
    request = request_token(MESSAGE)
    token = check_token(tsa.answer(request.der), MESSAGE, parse_roots(tsa.roots), request)
    assert ("CN=Test TSA", "1.2.3.4.1", 1_500) == (token.authority, token.policy, token.accuracy_ms)
    # Certificates are checked as of this time, so it lies within theirs.
    certificate = parse_roots(tsa.certificate)[0]
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    assert begins.timestamp() * 1000 <= token.at_ms <= ends.timestamp() * 1000


def test_a_token_is_checked_without_its_request(tsa: OpenSslTsa, answer: bytes) -> None:
    """Years later there is the answer alone."""
    assert isinstance(check_token(answer, MESSAGE, parse_roots(tsa.roots)), TimeToken)


def test_a_token_over_other_bytes_is_refused(tsa: OpenSslTsa, answer: bytes) -> None:
    """One changed byte, and it is a token over something else."""
    with pytest.raises(SignatureRejected, match="over other bytes"):
        check_token(answer, MESSAGE + b" ", parse_roots(tsa.roots))


def test_a_replayed_answer_is_refused(tsa: OpenSslTsa, answer: bytes) -> None:
    """An earlier answer over the same bytes has another nonce."""
    with pytest.raises(SignatureRejected, match="answers another request"):
        check_token(answer, MESSAGE, parse_roots(tsa.roots), request_token(MESSAGE))


def test_a_token_of_a_stranger_is_refused(answer: bytes, tmp_path: Path) -> None:
    """A chain to another root does not count, though that root bears the same name."""
    other = OpenSslTsa(tmp_path)
    with pytest.raises(SignatureRejected, match="does not lead to a root given"):
        check_token(answer, MESSAGE, parse_roots(other.roots))


def test_a_rejection_is_told_as_one(tmp_path: Path) -> None:
    """Status 2 has no token: the authority's own words are told, not that something is missing."""
    strict = OpenSslTsa(tmp_path, digests="sha512")
    refused = strict.answer(request_token(MESSAGE).der)
    with pytest.raises(
        SignatureRejected, match="expected granted, got rejected Message digest algorithm is not supported"
    ):
        check_token(refused, MESSAGE, parse_roots(strict.roots))


def test_an_answer_without_a_certificate_is_refused(tsa: OpenSslTsa) -> None:
    """Nobody could check it years later."""
    bare = tsa.answer(tsa.query(MESSAGE, "-sha256", "-no_nonce"))
    with pytest.raises(SignatureRejected, match="holds no certificate"):
        check_token(bare, MESSAGE, parse_roots(tsa.roots))


def test_certificates_out_of_order_are_told_as_such(tmp_path: Path) -> None:
    """An authority that sends its longer certificate before the root breaks the order of a DER set."""
    chained = OpenSslTsa(tmp_path, with_chain=True)
    with pytest.raises(MalformedInput, match="out of order") as caught:
        check_token(chained.answer(request_token(MESSAGE).der), MESSAGE, parse_roots(chained.roots))
    assert "its own certificate alone" in caught.value.mend


@pytest.mark.parametrize("usage", ["timeStamping", "critical,timeStamping,emailProtection", "critical,codeSigning", ""])
def test_a_certificate_that_is_not_for_time_stamping_alone_is_refused(usage: str, tmp_path: Path) -> None:
    """RFC 3161 section 2.3: the extended key usage is there once, critical, and timeStamping alone."""
    made = parse_roots(OpenSslTsa(tmp_path, usage=usage).certificate)[0]
    with pytest.raises(SignatureRejected, match="for time stamping"):
        time_token._check_usage(made)


def test_another_digest_is_refused(tsa: OpenSslTsa) -> None:
    """The dossier's form is SHA-256."""
    longer = tsa.answer(tsa.query(MESSAGE, "-sha512", "-cert"))
    with pytest.raises(SignatureRejected, match=r"over another digest: expected SHA-256, got 2\.16"):
        check_token(longer, MESSAGE, parse_roots(tsa.roots))


def test_every_flipped_bit_is_found_or_changes_nothing(tsa: OpenSslTsa, answer: bytes) -> None:
    """A token with a bit flipped is refused with this project's errors, or says exactly what it said."""
    roots = parse_roots(tsa.roots)
    whole = check_token(answer, MESSAGE, roots)
    kept = 0
    for bit in range(len(answer) * 8):
        changed = bytearray(answer)
        changed[bit // 8] ^= 1 << (bit % 8)
        try:
            assert whole == check_token(bytes(changed), MESSAGE, roots), bit
            kept += 1
        except (SignatureRejected, MalformedInput):
            continue
    # Algorithm parameters and the like that no signature covers.
    assert kept < len(answer)


def test_hostile_answers_are_refused(tsa: OpenSslTsa, answer: bytes) -> None:
    """Cut, overwritten, random and too long: this project's errors alone."""
    roots, dice = parse_roots(tsa.roots), random.Random(3161)
    for _ in range(2_000):
        changed = bytearray(answer[: dice.randrange(len(answer) + 1)] if dice.random() < 0.5 else answer)
        for _ in range(dice.randrange(1, 6)):
            if changed:
                changed[dice.randrange(len(changed))] = dice.randrange(256)
        for raw in (bytes(changed), dice.randbytes(dice.randrange(200))):
            try:
                check_token(raw, MESSAGE, roots)
            except LedgerError as error:
                str(error).encode()
    with pytest.raises(MalformedInput, match="too long"):
        check_token(bytes(65_537), MESSAGE, roots)


def test_roots_are_certificates(tsa: OpenSslTsa, answer: bytes) -> None:
    """Text that holds none is refused, and so is a check without any."""
    for bad in (b"", b"no certificate", tsa.roots.replace(b"M", b"N", 20), bytes(1_000_001)):
        with pytest.raises(MalformedKey):
            parse_roots(bad)
    with pytest.raises(MalformedKey, match="no root certificate is given"):
        check_token(answer, MESSAGE, ())
    assert 1 == len(parse_roots(tsa.roots + tsa.roots))


def test_without_the_extra_one_line_says_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the library is not installed, the error names it and the extra."""
    monkeypatch.setitem(sys.modules, "rfc3161_client", None)
    with pytest.raises(Unsupported, match="rfc3161-client") as caught:
        request_token(MESSAGE)
    assert "extra evidence" in caught.value.mend
