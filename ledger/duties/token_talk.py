"""One conversation with a time stamping authority: a token over a published checkpoint, checked before it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from ledger.duties.witness_talk import Send, Unreached
from ledger.errors import LedgerError
from ledger.evidence.time_token import REQUEST_TYPE, RESPONSE_TYPE, check_token, request_token


class Authority(NamedTuple):
    """A time stamping authority: its name here (a-z, 0-9, hyphens) and its address."""

    name: str
    url: str


class Stamped(NamedTuple):
    """The answer (DER) that was checked, and the time that it states (POSIX milliseconds)."""

    response: bytes
    at_ms: int


def ask_for_token(send: Send, authority: Authority, message: bytes, roots: Sequence[Any]) -> Stamped | str:
    """A token over ``message`` that leads to one of ``roots`` (certificates); else, in words, why there is none."""
    try:
        request = request_token(message)
        answer = send("POST", authority.url, request.der, REQUEST_TYPE)
        if isinstance(answer, Unreached):
            return answer.why
        if answer.status != 200 or answer.media != RESPONSE_TYPE:
            return f"it answered {answer.status} {answer.media}"
        token = check_token(answer.body, message, roots, request)
    except LedgerError as error:
        return str(error)
    return Stamped(answer.body, token.at_ms)
