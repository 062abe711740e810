"""What one process passes on to another reads back the same, in whatever pieces it comes; anything else is refused."""

from __future__ import annotations

import inspect
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import errors
from ledger.errors import KeyReused, LedgerError, MalformedInput, StoreUnavailable, WitnessRefused
from ledger.line.fact import Breach
from ledger.line.submission import Submission, seal_submission
from ledger.store.answer import Entered
from ledger.store.group import Asked
from ledger.store.passed import (
    MOST_BYTES,
    Answer,
    format_answers,
    format_passed,
    parse_answers,
    parse_passed,
    taken_messages,
)
from tests.plant import ORIGIN, counted_salts, line_start, opening, registration

SUBMISSIONS = [opening(), *line_start(), registration(7)]
ENTERED = Entered(
    4, ("4.0", "4.1"), ((), (Breach(code="over-drawn", node="lot:S", said="too many"),)), "2026-03-02T08:00:00.000+00:00",
    b"{}", "a receipt", repeated=True,
)  # fmt: skip
TREE = [
    kind
    for _, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, LedgerError) and kind is not WitnessRefused
]


def asked_of(submission: Submission) -> Asked:
    """A submission as a writer queues it."""
    sealed = seal_submission(ORIGIN, submission, counted_salts())
    return Asked(submission.key, "a-lead", sealed, b"digest", None, judged={"U-1": "what it was judged with"})


@pytest.mark.parametrize("submission", SUBMISSIONS, ids=lambda one: one.key)
def test_a_submission_reads_back_as_it_was_sealed(submission: Submission) -> None:
    """Bytes, records, openings, author, key and digest are the same, also where fields are withheld or can be erased."""
    asked = asked_of(submission)
    (raw,) = taken_messages(bytearray(format_passed(3, asked)))
    number, read = parse_passed(raw, "a future")
    assert (3, "a future", asked.sealed) == (number, read.future, read.sealed)
    for name in ("key", "author", "digest", "signature", "judged", "alone"):
        assert getattr(asked, name) == getattr(read, name)


@given(st.lists(st.sampled_from(SUBMISSIONS), max_size=5), st.data())
def test_messages_come_whole_out_of_any_pieces(submissions: list[Submission], data: st.DataObject) -> None:
    """However a stream is cut, the same messages are taken out of it in order, each once, and nothing is left."""
    messages = [format_passed(number, asked_of(one)) for number, one in enumerate(submissions)]
    stream = b"".join(messages)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    buffer = bytearray()
    taken: list[bytes] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        buffer += stream[start:end]
        taken += taken_messages(buffer)
    assert ([message[4:] for message in messages], b"") == (taken, bytes(buffer))


def test_an_answer_reads_back_as_it_was_given() -> None:
    """An entry with its breaches is the same, and the checkpoint comes along."""
    (raw,) = taken_messages(bytearray(format_answers([(9, ENTERED)], b"a note")))
    assert ([Answer(9, ENTERED)], b"a note") == parse_answers(raw)


@pytest.mark.parametrize("kind", TREE)
def test_a_refusal_reads_back_as_the_same_error(kind: type[LedgerError]) -> None:
    """Every class of the tree, its text, where and mend; but an error of the store leaves it to whoever passed it on."""
    error = kind("it stands", expected=3, got="four", where="records[0]", mend="say it otherwise")
    (raw,) = taken_messages(bytearray(format_answers([(1, error)], b"")))
    ((number, read),), _ = parse_answers(raw)
    assert 1 == number
    if issubclass(kind, errors.StoreError):
        assert read is None
    else:
        assert (type(error), str(error), vars(error)) == (type(read), str(read), vars(read))


def test_what_is_no_error_of_the_tree_is_left(caplog: pytest.LogCaptureFixture) -> None:
    """A fault of the program, or of the store, says nothing of the submission: who passed it on enters it itself."""
    given_back = [(1, RuntimeError("oops")), (2, StoreUnavailable("gone")), (3, KeyReused("used", got="k"))]
    (raw,) = taken_messages(bytearray(format_answers(given_back, b"")))
    answers = dict(parse_answers(raw)[0])
    assert ({1, 2, 3}, None, None, "key-reused") == (set(answers), answers[1], answers[2], answers[3].code)  # type: ignore[union-attr]


@given(st.binary(max_size=60))
def test_other_bytes_are_refused(raw: bytes) -> None:
    """Whatever is no message is malformed, on both sides, and nothing worse happens."""
    for parse in (lambda: parse_passed(raw, None), lambda: parse_answers(raw)):
        with suppress(MalformedInput):
            parse()


@pytest.mark.parametrize("length", [0, MOST_BYTES + 1])
def test_a_length_that_no_message_has_is_refused(length: int) -> None:
    """A message of no bytes, or of more than can be meant, ends the line."""
    with pytest.raises(MalformedInput, match="another length"):
        list(taken_messages(bytearray(length.to_bytes(4, "big") + b"x")))


def test_an_error_that_is_not_of_the_tree_is_no_refusal() -> None:
    """A name of another class in the place of an error is malformed."""
    message = bytearray(format_answers([(1, KeyReused("used"))], b""))
    (raw,) = taken_messages(message)
    with pytest.raises(MalformedInput, match="no such error"):
        parse_answers(raw.replace(b"KeyReused", b"annotated"))
