"""One conversation with one witness: what it may answer, and what each answer comes to."""

from __future__ import annotations

import pytest

from api.outgoing import Outgoing
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.merkle import prove_consistency, root
from ledger.book.policy import PolicyWitness
from ledger.book.witness import cosign
from ledger.duties.witness_talk import Answer, Cosigned, NotCosigned, Submitted, ask_to_cosign, head_address
from tests.book.samples import LOG, ORIGIN, WITNESS, leaves
from tests.witnesses import http_answer, raw_server, witness_key

LEAVES = leaves(40)
NOTE = sign_checkpoint(ORIGIN, 12, root(LEAVES[:12]), [LOG])
SUBMITTED = Submitted(NOTE, 12, lambda old: prove_consistency(LEAVES, old, 12))
LINE = cosign(NOTE, WITNESS, 1_764_046_800)
SIZE = "text/x.tlog.size"


def answered(*answers: Answer, old: int = 3) -> tuple[Cosigned | NotCosigned, list[bytes]]:
    """What these answers, one after the other, come to; and the first lines of what was sent."""
    coming, sent = iter(answers), []

    def send(method: str, url: str, body: bytes = b"", media: str = "") -> Answer:
        assert ("POST", "https://w.example/w/add-checkpoint", "text/plain") == (method, url, media)
        sent.append(body.split(b"\n")[0])
        return next(coming)

    witness = PolicyWitness("w", WITNESS.verifier, "https://w.example/w/")
    return ask_to_cosign(send, witness, SUBMITTED, old), sent


def test_a_good_cosignature_is_taken_whatever_else_comes() -> None:
    """Lines by keys that the policy does not name are ignored."""
    stranger = cosign(NOTE, witness_key("stranger"), 5)
    found, sent = answered(Answer(200, "text/plain", stranger + LINE + stranger))
    assert (Cosigned(LINE.decode().rstrip("\n"), 1_764_046_800), [b"old 3"]) == (found, sent)


def test_a_409_says_where_to_go_on_from() -> None:
    """From the size that the witness states, be it smaller, larger, the same size, or nothing."""
    for stated in (0, 5, 12):
        size = Answer(409, SIZE, f"{stated}\n".encode())
        found, sent = answered(size, Answer(200, "text/plain", LINE))
        assert isinstance(found, Cosigned)
        assert [b"old 3", f"old {stated}".encode()] == sent


def test_a_witness_that_is_ahead_is_told_with_its_size() -> None:
    """It holds more than was submitted: nothing can be proved to it."""
    found, sent = answered(Answer(409, SIZE, b"13\n"))
    assert (NotCosigned("it holds 13 entries, more than were submitted", ahead=13), 1) == (found, len(sent))


def test_a_witness_that_does_not_stay_with_its_size_is_left() -> None:
    """The same size again, or another one each time, ends after a few tries."""
    problem = "it does not stay with the size that it states"
    for sizes in ((b"3\n",), (b"5\n", b"3\n"), (b"5\n", b"6\n", b"7\n", b"8\n")):
        found, sent = answered(*(Answer(409, SIZE, size) for size in sizes))
        assert isinstance(found, NotCosigned)
        assert (problem, True) == (found.fault, len(sent) <= 3)


@pytest.mark.parametrize(
    "size", [b"", b"5", b"05\n", b"+5\n", b"5\n\n", b" 5\n", b"\xd9\xa5\n", b"9" * 30 + b"\n", b"-1\n"]
)
def test_a_size_in_another_form_is_none(size: bytes) -> None:
    """Only ASCII decimal with a newline is a size."""
    found, _ = answered(Answer(409, SIZE, size))
    assert isinstance(found, NotCosigned)
    assert found.fault.startswith("its size cannot be read")


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        (b"", "no good cosignature"),
        (b"thank you\n", "no good cosignature"),
        (b"\xff\xfe\n", "no good cosignature"),
        (LINE[:-20] + b"\n", "no good cosignature"),
        (cosign(NOTE, witness_key("stranger"), 5), "no cosignature by the key that the policy names"),
        (cosign(sign_checkpoint(ORIGIN, 13, root(LEAVES[:13]), [LOG]), WITNESS, 5), "no good cosignature"),
    ],
)
def test_what_is_no_cosignature_is_told(body: bytes, problem: str) -> None:
    """Nothing, words, octets, a broken line, another's line, and one over another checkpoint."""
    found, _ = answered(Answer(200, "text/plain", body))
    assert isinstance(found, NotCosigned)
    assert problem in found.fault


@pytest.mark.parametrize("status", [400, 403, 404, 409, 413, 422, 429, 500, 302])
def test_a_refusal_is_told_in_words(status: int) -> None:
    """And only a 422, or a 409 without a size, says that there is another history."""
    found, _ = answered(Answer(status, "text/html", b"<p>"))
    assert isinstance(found, NotCosigned)
    assert (status in {409, 422}, True) == (found.forked, bool(found.fault))


def test_a_witness_without_an_address_is_not_asked() -> None:
    """A policy that only verifies need not name one."""

    def send(method: str, url: str, body: bytes = b"", media: str = "") -> Answer:
        raise AssertionError(method, url, body, media)

    found = ask_to_cosign(send, PolicyWitness("w", WITNESS.verifier), SUBMITTED, 0)
    assert NotCosigned("the policy gives no address for it") == found


def test_a_slow_one_and_one_that_speaks_otherwise_are_told() -> None:
    """Over a real connection: its time passes, or what comes is no HTTP."""
    for answer, hold, problem in ((b"", True, "no whole answer"), (b"hello", False, "no HTTP")):
        with raw_server(answer, hold=hold) as server:
            witness = PolicyWitness("w", WITNESS.verifier, server.url)
            found = ask_to_cosign(Outgoing(0.5), witness, SUBMITTED, 0)
        assert isinstance(found, NotCosigned)
        assert problem in found.fault


def test_a_good_one_over_a_real_connection() -> None:
    """The line comes back and checks."""
    with raw_server(http_answer("200 OK", LINE)) as server:
        found = ask_to_cosign(Outgoing(30), PolicyWitness("w", WITNESS.verifier, server.url), SUBMITTED, 0)
    assert isinstance(found, Cosigned)


def test_the_head_is_shown_under_the_hash_of_the_origin() -> None:
    """SHA-256 in lower-case hex; a slash at the end of the prefix changes nothing."""
    # By coreutils: printf 'example.com/behind-the-sofa' | sha256sum
    hashed = "5fd2dc0beb4ce54da5050cf6d5c75248b023abad441c3cecde3976fbe9da4fe4"
    for url in ("https://w.example/w", "https://w.example/w/"):
        address = head_address(PolicyWitness("w", WITNESS.verifier, url), "example.com/behind-the-sofa")
        assert f"https://w.example/w/{hashed}/checkpoint" == address
