"""Signed notes: which are read, and which are believed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.note import (
    MAX_NOTE_BYTES,
    MAX_SIGNATURES,
    check_note,
    format_signature_line,
    parse_note,
    sign_note,
)
from ledger.book.signing import Verifier, format_verifier, signer_from_seed
from ledger.errors import MalformedKey, MalformedNote, SignatureRejected
from tests.book.samples import LOG, STATION, flipped

TEXT = "first line\n\nthird line\n"
NOTE = sign_note(TEXT, [LOG])

note_texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="".join(map(chr, range(32))))).map(
    lambda text: text + "\n"
)


@given(note_texts)
def test_signed_notes_are_accepted(text: str) -> None:
    """What was signed checks, with the text as it was."""
    note = check_note(sign_note(text, [LOG, STATION]), [LOG.verifier, format_verifier(STATION.verifier)])

    assert text == note.text
    assert [LOG.verifier, STATION.verifier] == [line.verifier for line in note.signatures]
    assert note.unknown == ()


def test_signatures_by_unknown_keys_are_kept_apart() -> None:
    """An unknown signature is neither trusted nor an obstacle."""
    note = check_note(sign_note(TEXT, [STATION, LOG]), [LOG.verifier])

    assert [LOG.verifier] == [line.verifier for line in note.signatures]
    assert [STATION.name] == [line.name for line in note.unknown]


def test_without_a_known_key_a_note_is_rejected() -> None:
    """No known signature, no trust; no known keys, no trust."""
    with pytest.raises(SignatureRejected):
        check_note(NOTE, [STATION.verifier])
    with pytest.raises(SignatureRejected):
        check_note(NOTE, [])


def test_a_bad_signature_by_a_known_key_spoils_the_note() -> None:
    """A good signature does not make up for a bad one."""
    bad = format_signature_line(STATION.verifier, b"\x00" * 64).encode()
    for known in ([LOG.verifier, STATION.verifier], [STATION.verifier]):
        with pytest.raises(SignatureRejected):
            check_note(NOTE + bad, known)

    check_note(NOTE + bad, [LOG.verifier])


def test_a_repeated_signature_counts_once() -> None:
    """The same line twice is one signature."""
    line = format_signature_line(LOG.verifier, LOG.sign(TEXT.encode())).encode()

    assert len(check_note(NOTE + line, [LOG.verifier]).signatures) == 1


def test_every_flipped_bit_of_a_note_is_detected() -> None:
    """One changed bit anywhere in text or signature is malformed or rejected, without exception."""
    survived = []
    for bit in range(len(NOTE) * 8):
        try:
            check_note(flipped(NOTE, bit), [LOG.verifier])
        except (MalformedNote, SignatureRejected):
            continue
        survived.append(bit)

    assert survived == []


def test_the_last_blank_line_separates() -> None:
    """A text that holds what looks like a signed note is still one text."""
    inner = sign_note("inner\n", [STATION]).decode()
    note = check_note(sign_note(inner, [LOG]), [LOG.verifier, STATION.verifier])

    assert inner == note.text
    assert [LOG.verifier] == [line.verifier for line in note.signatures]


def test_the_number_of_signatures_has_a_limit() -> None:
    """A hundred signatures are read, one more is refused."""
    line = format_signature_line(STATION.verifier, b"\x00" * 64).encode()
    check_note(NOTE + line * (MAX_SIGNATURES - 1), [LOG.verifier])

    with pytest.raises(MalformedNote):
        check_note(NOTE + line * MAX_SIGNATURES, [LOG.verifier])


def test_the_length_has_a_limit() -> None:
    """A note above a million bytes is not looked at."""
    with pytest.raises(MalformedNote):
        parse_note(sign_note("x" * MAX_NOTE_BYTES + "\n", [LOG]))


@pytest.mark.parametrize("text", ["", "no newline", "tab\there\n", "nul\x00\n", "cr\r\n", "\ud800\n"])
def test_texts_that_no_note_may_hold_are_not_signed(text: str) -> None:
    """The signer is as strict as the reader."""
    with pytest.raises(MalformedNote):
        sign_note(text, [LOG])


def test_a_note_needs_a_signer() -> None:
    """Nothing is signed by nobody."""
    with pytest.raises(MalformedNote):
        sign_note(TEXT, [])


def test_two_keys_with_one_name_and_key_id_are_refused() -> None:
    """Between two keys that cannot be told apart nothing is guessed."""
    twin = signer_from_seed(LOG.name, b"\x05" * 32).verifier
    forged = Verifier(twin.name, twin.public)
    object.__setattr__(forged, "key_id", LOG.verifier.key_id)

    with pytest.raises(MalformedKey):
        check_note(NOTE, [LOG.verifier, forged])
    check_note(NOTE, [LOG.verifier, LOG.verifier])


@given(
    st.binary(max_size=200)
    | st.integers(0, len(NOTE)).flatmap(
        lambda cut: st.binary(max_size=6).map(lambda junk: NOTE[:cut] + junk + NOTE[cut:])
    )
)
def test_any_bytes_are_a_note_or_are_refused(raw: bytes) -> None:
    """Arbitrary and damaged bytes raise this project's errors alone."""
    try:
        check_note(raw, [LOG.verifier])
    except (MalformedNote, SignatureRejected):
        return
    assert raw == NOTE
