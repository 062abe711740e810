"""A cosignature checked by another route: hashlib, base64 and PyNaCl over the message as C2SP tlog-cosignature states it.

Published: C2SP/C2SP tlog-cosignature.md, "Format" and "Ed25519 signed message" (CC BY 4.0); tlog-policy.md, "Example policy".
Nothing of this project's own note or key code is used to check.
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path

import httpx
import nacl.exceptions
import nacl.signing
import pytest

from ledger.book.signing import format_verifier
from ledger.book.witness import format_add_checkpoint
from ledger.duties.publishing import PublishingPlan
from tests.duties.published_plant import PublishedPlant
from tests.plant import ORIGIN, SIGNER
from tests.witnesses import policy_of, running_witness, witness_key


def checked(line: str, text: bytes, vkey: str) -> int:
    """The POSIX seconds of a good cosignature line over a note text, by its verifier key; raises BadSignatureError."""
    name, key_id, encoded = vkey.split("+", 2)
    typed = base64.b64decode(encoded, validate=True)
    # SHA-256(<name> || "\n" || 0x04 || 32-byte Ed25519 cosigner public key)[:4]
    assert (4, 33) == (typed[0], len(typed))
    assert key_id == hashlib.sha256(name.encode() + b"\n" + typed).hexdigest()[:8]
    dash, said_name, body = line.split(" ")
    raw = base64.b64decode(body, validate=True)
    assert ("\u2014", name, key_id, 4 + 8 + 64) == (dash, said_name, raw[:4].hex(), len(raw))
    seconds = int.from_bytes(raw[4:12], "big")
    message = b"cosignature/v1\ntime %d\n" % seconds + text
    nacl.signing.VerifyKey(typed[1:]).verify(message, raw[12:])
    return seconds


def test_what_the_witness_answers_checks_by_another_library(tmp_path: Path) -> None:
    """The line that comes over HTTP, over the text that was sent; and not over another text."""
    vkey = format_verifier(witness_key("w").verifier)
    plant = PublishedPlant(tmp_path)
    note = plant.book.checkpoint()
    plant.book.close()
    with running_witness(tmp_path, "w") as witness:
        answer = httpx.post(f"{witness.url}/add-checkpoint", content=format_add_checkpoint(0, [], note)).text
    text = note[: note.rindex(b"\n\n") + 1]
    assert checked(answer.removesuffix("\n"), text, vkey) > 0
    with pytest.raises(nacl.exceptions.BadSignatureError):
        checked(answer.removesuffix("\n"), text.replace(b"=\n", b"=\nmore\n"), vkey)


def test_what_is_published_checks_by_another_library(tmp_path: Path) -> None:
    """Each line of the published note: the log's own over its text, and the witness's with its time."""
    plant = PublishedPlant(tmp_path)
    with running_witness(tmp_path, "w") as witness:
        plant.publishing(PublishingPlan(policy=policy_of(witness.named("w")))).turn()
    published = plant.published()
    plant.book.close()
    assert published is not None
    text, _, block = published.note.rpartition(b"\n\n")
    log_line, witness_line = block.decode().removesuffix("\n").split("\n")
    raw = base64.b64decode(log_line.split(" ")[2], validate=True)
    nacl.signing.VerifyKey(SIGNER.verifier.public).verify(text + b"\n", raw[4:])
    assert ORIGIN == log_line.split(" ")[1]
    assert checked(witness_line, text + b"\n", format_verifier(witness_key("w").verifier)) > 0
