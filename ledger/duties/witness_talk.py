"""One conversation with one witness: a checkpoint is submitted until it is cosigned, or it is known why not.

Source: C2SP tlog-witness v1.0.0, the log's side.  What comes back is checked before anything is made of it: a cosignature
counts only by the key that the policy names, and a size only in its exact form.  How bytes get there is the caller's:
this package knows nothing of HTTP beyond a status and a media type.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from ledger.book.c2sp_text import parse_count
from ledger.book.note import parse_signature_line
from ledger.book.policy import PolicyWitness
from ledger.book.witness import SIZE_TYPE, add_cosignatures, check_cosignature, format_add_checkpoint
from ledger.errors import LedgerError, MalformedProof

MAX_ATTEMPTS = 3
"""A witness may move on between its 409 and the next try: a second process of the service submits too."""


class Answer(NamedTuple):
    """What came back: status, media type without parameters, body (as much as the caller's limit allows)."""

    status: int
    media: str
    body: bytes


class Unreached(NamedTuple):
    """Nothing came back in time; ``why`` in words."""

    why: str


class Send(Protocol):
    """Sends one request and gives what came back, within the time and the size that its maker has set. Raises nothing."""

    def __call__(self, method: str, url: str, body: bytes = b"", media: str = "") -> Answer | Unreached:
        """``media`` is the type of ``body``."""


class Submitted(NamedTuple):
    """What is to be cosigned: the note of ``size`` entries; ``prove`` gives the consistency proof from an earlier size."""

    note: bytes
    size: int
    prove: Callable[[int], Sequence[bytes]]


class Cosigned(NamedTuple):
    """The witness signed: its line, without a newline, and the POSIX seconds that it states."""

    line: str
    at_seconds: int


class NotCosigned(NamedTuple):
    """The witness did not sign. ``ahead``: the size that it holds, where that is more than what was submitted.

    ``forked``: it says that what was submitted does not extend what it holds.
    """

    fault: str
    ahead: int = 0
    forked: bool = False


def ask_to_cosign(send: Send, witness: PolicyWitness, submitted: Submitted, old_size: int) -> Cosigned | NotCosigned:
    """Submit a checkpoint to a witness that is thought to hold ``old_size``; where it says another size, from that one."""
    if not witness.url:
        return NotCosigned("the policy gives no address for it")
    tried: set[int] = set()
    while old_size not in tried and len(tried) < MAX_ATTEMPTS:
        tried.add(old_size)
        proof = submitted.prove(old_size) if old_size else []
        body = format_add_checkpoint(old_size, proof, submitted.note)
        answer = send("POST", f"{witness.url.rstrip('/')}/add-checkpoint", body, "text/plain")
        if isinstance(answer, Unreached):
            return NotCosigned(answer.why)
        if answer.status == 200:
            return _cosignature(witness, submitted.note, answer.body)
        if answer.status != 409 or answer.media != SIZE_TYPE:
            return _refused(answer)
        try:
            old_size = _stated_size(answer.body)
        except LedgerError as error:
            return NotCosigned(f"its size cannot be read: {error.problem}")
        if old_size > submitted.size:
            return NotCosigned(f"it holds {old_size} entries, more than were submitted", ahead=old_size)
    return NotCosigned("it does not stay with the size that it states")


def head_address(witness: PolicyWitness, origin: str) -> str:
    """Where a witness shows the latest checkpoint of an origin that it cosigned; its one address serves both ways."""
    return f"{witness.url.rstrip('/')}/{hashlib.sha256(origin.encode()).hexdigest()}/checkpoint"


def _stated_size(body: bytes) -> int:
    text = body.decode("ascii", "replace")
    if not text.endswith("\n"):
        raise MalformedProof("size has no newline")
    return parse_count(text[:-1], MalformedProof)


def _cosignature(witness: PolicyWitness, note: bytes, body: bytes) -> Cosigned | NotCosigned:
    """The witness's own line among those that came, checked; lines by other keys are ignored."""
    mine = (witness.verifier.name, witness.verifier.key_id)
    try:
        for line in body.decode("utf-8", "replace").removesuffix("\n").split("\n"):
            read = parse_signature_line(line)
            if (read.name, read.key_id) == mine:
                cosigned = add_cosignatures(note, line.encode())
                return Cosigned(line, check_cosignature(cosigned, witness.verifier))
    except LedgerError as error:
        return NotCosigned(f"its answer is no good cosignature: {error.problem}")
    return NotCosigned("its answer has no cosignature by the key that the policy names")


def _refused(answer: Answer) -> NotCosigned:
    """What a refusal means, by the status codes of C2SP tlog-witness."""
    words = {
        400: "it could not read the request",
        403: "it does not trust the key that signed the checkpoint",
        404: "it does not know this book",
        # Before version 1.0.0 another root at the same size was a 409 without a size.
        409: "it says that it holds another head of this size",
        422: "it says that the checkpoint does not extend the one that it holds",
        429: "it was asked too often",
    }
    return NotCosigned(words.get(answer.status, f"it answered {answer.status}"), forked=answer.status in {409, 422})
