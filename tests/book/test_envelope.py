"""Envelopes: a signature over exact bytes of a stated type."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.envelope import MAX_ENVELOPE_BYTES, SAID_TYPE, check_envelope, pae, sign_envelope
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import MalformedEnvelope, MalformedKey, SignatureRejected
from tests.book.samples import LOG, STATION, WITNESS, flipped

BODY = b'{"book":"ledger.example/balls","key":"k","records":[{"kind":"note"}]}'
TEXT = sign_envelope(SAID_TYPE, BODY, STATION)
OTHER = signer_from_seed("station.example/8", b"\x08" * 32, "station")


def _changed(**members: Any) -> str:
    envelope = {**msgspec.json.decode(TEXT), **members}
    return msgspec.json.encode({name: value for name, value in envelope.items() if value is not ...}).decode()


@given(st.binary(max_size=300), st.text(max_size=30).filter(lambda text: text.isprintable()))
def test_what_was_signed_checks(body: bytes, payload_type: str) -> None:
    """The envelope names its signer among those known."""
    text = sign_envelope(payload_type, body, STATION)

    assert STATION.verifier == check_envelope(text, payload_type, body, [OTHER.verifier, STATION.verifier])
    assert STATION.verifier == check_envelope(text, payload_type, body, [format_verifier(STATION.verifier)])


@given(st.binary(max_size=60), st.binary(max_size=60), st.text(max_size=9), st.text(max_size=9))
def test_the_signed_bytes_are_unambiguous(one: bytes, other: bytes, type_one: str, type_other: str) -> None:
    """Two messages have one encoding only when type and body are the same."""
    same = (type_one, one) == (type_other, other)

    assert same == (pae(type_one, one) == pae(type_other, other))


def test_every_flipped_bit_of_the_body_is_detected() -> None:
    """A body that is not the payload is rejected, without exception."""
    for bit in range(len(BODY) * 8):
        with pytest.raises(SignatureRejected):
            check_envelope(TEXT, SAID_TYPE, flipped(BODY, bit), [STATION.verifier])


def test_another_type_or_key_is_rejected() -> None:
    """Type and key are part of what is checked."""
    with pytest.raises(SignatureRejected):
        check_envelope(TEXT, "application/json", BODY, [STATION.verifier])
    with pytest.raises(SignatureRejected):
        check_envelope(_changed(payloadType="application/json"), "application/json", BODY, [STATION.verifier])
    with pytest.raises(SignatureRejected):
        check_envelope(TEXT, SAID_TYPE, BODY, [OTHER.verifier])
    with pytest.raises(SignatureRejected):
        check_envelope(TEXT, SAID_TYPE, BODY, [])


def test_the_key_hint_decides_nothing() -> None:
    """A wrong or missing keyid neither helps nor harms."""
    [line] = msgspec.json.decode(TEXT)["signatures"]
    for hint in ({"keyid": "nonsense"}, {}):
        text = _changed(signatures=[{"sig": line["sig"], **hint}])
        assert STATION.verifier == check_envelope(text, SAID_TYPE, BODY, [STATION.verifier])


def test_both_base64_alphabets_are_read_but_no_mix() -> None:
    """DSSE lets the signer choose; a mix is a mistake."""
    body = b"\xfb\xff\xfe" * 5
    text = sign_envelope(SAID_TYPE, body, STATION)
    envelope = msgspec.json.decode(text)
    envelope["payload"] = envelope["payload"].replace("+", "-").replace("/", "_")
    check_envelope(msgspec.json.encode(envelope).decode(), SAID_TYPE, body, [STATION.verifier])

    envelope["payload"] = envelope["payload"].replace("_", "/", 1)
    with pytest.raises(MalformedEnvelope):
        check_envelope(msgspec.json.encode(envelope).decode(), SAID_TYPE, body, [STATION.verifier])


@pytest.mark.parametrize("signer", [LOG, WITNESS], ids=["checkpoint", "witness"])
def test_keys_of_another_purpose_do_not_sign(signer: Any) -> None:
    """One key, one purpose."""
    with pytest.raises(MalformedKey):
        sign_envelope(SAID_TYPE, BODY, signer)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        _changed(extra=1),
        _changed(payload=...),
        _changed(payloadType=...),
        _changed(payload=1),
        _changed(payload="!!"),
        _changed(payload="AAAA="),
        _changed(signatures=[]),
        _changed(signatures=[{}]),
        _changed(signatures=[{"sig": "AA", "keyid": "x"}]),
        _changed(signatures=[{"sig": "AAAA", "more": 1}]),
        _changed(signatures=[{"sig": "AAAA"}] * 17),
        "x" * (MAX_ENVELOPE_BYTES + 1),
        "\ud800",
    ],
    ids=lambda text: ascii(text[:30]),
)
def test_envelopes_of_another_form_are_refused(text: str) -> None:
    """Known fields, exact base64, 1 to 16 signatures."""
    with pytest.raises(MalformedEnvelope):
        check_envelope(text, SAID_TYPE, BODY, [STATION.verifier])


@given(
    st.text(max_size=60)
    | st.integers(0, len(TEXT)).flatmap(
        lambda cut: st.text(max_size=4).map(lambda junk: TEXT[:cut] + junk + TEXT[cut:])
    )
)
def test_any_text_is_an_envelope_or_is_refused(text: str) -> None:
    """Arbitrary and damaged text raises this project's errors alone."""
    try:
        check_envelope(text, SAID_TYPE, BODY, [STATION.verifier])
    except (MalformedEnvelope, SignatureRejected):
        return
    # Only spaces or an ignored hint can have been added.
    assert msgspec.json.decode(text)["payload"] == msgspec.json.decode(TEXT)["payload"]
