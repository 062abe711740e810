"""Cookies and enrolment codes: what a browser shows to be let in, what is kept of it, and what its forms must say.

A cookie's text is a prefix (``pbs1_`` for a session, ``pbd1_`` for a device) and 43 characters of base64url (RFC 4648
section 5, without padding) for 32 random bytes.  Only its SHA-256 is kept, as of a token (`ledger.access.tokens`).

A form token is derived from the cookie by SHA-256 with a label of its own: who has no cookie cannot guess it, and it
gives nothing away about the cookie.  Nothing of it is stored.

An enrolment code is 8 letters and digits of 32 that are not mistaken for each other: 40 random bits for 10 minutes.

No randomness here: the bytes are given.
"""

from __future__ import annotations

import base64
import re
from hashlib import sha256
from hmac import compare_digest
from typing import Literal

from ledger.errors import Unauthenticated

Holder = Literal["session", "device"]

PREFIXES: dict[Holder, str] = {"session": "pbs1_", "device": "pbd1_"}
COOKIE_BYTES = 32

CODE_SIGNS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
CODE_LENGTH = 8
CODE_BYTES = 5

_BODY = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)


def format_cookie(holder: Holder, random: bytes) -> str:
    """The text of a cookie; ``random`` is 32 fresh random bytes. Raises Unauthenticated for another length."""
    if len(random) != COOKIE_BYTES:
        raise Unauthenticated("cookie has another length", expected=f"{COOKIE_BYTES} bytes", got=f"{len(random)} bytes")
    return PREFIXES[holder] + base64.urlsafe_b64encode(random).rstrip(b"=").decode()


def cookie_digest(holder: Holder, text: str) -> str:
    """SHA-256 of a cookie's text, 64 hex digits. Raises Unauthenticated, which never repeats the text, for one that is none."""
    body = text.removeprefix(PREFIXES[holder])
    if body == text or not _BODY.fullmatch(body):
        raise Unauthenticated("cookie has another form", mend="sign in again")
    return sha256(text.encode()).hexdigest()


def form_token(cookie: str) -> str:
    """What a form of the cookie's holder must say, 64 hex digits."""
    return sha256(b"pourbook form token\n" + cookie.encode()).hexdigest()


def is_form_token(cookie: str, said: str) -> bool:
    """Whether a form said the token of the cookie that came with it."""
    return compare_digest(form_token(cookie).encode(), said.encode("utf-8", "replace"))


def format_code(random: bytes) -> str:
    """The text of an enrolment code; ``random`` is 5 fresh random bytes, each character holds 5 of their bits."""
    number = int.from_bytes(random[:CODE_BYTES], "big")
    return "".join(CODE_SIGNS[number >> 5 * place & 31] for place in reversed(range(CODE_LENGTH)))


def code_digest(typed: str) -> str:
    """SHA-256 of a code as typed: case, spaces and hyphens do not count. Raises Unauthenticated for one that is none."""
    code = re.sub(r"[\s-]", "", typed).upper()
    if len(code) != CODE_LENGTH or any(sign not in CODE_SIGNS for sign in code):
        raise Unauthenticated(
            "enrolment code has another form",
            expected=f"{CODE_LENGTH} letters and digits",
            where="code",
            mend="type the code as it is shown",
        )
    return sha256(b"pourbook enrolment code\n" + code.encode()).hexdigest()
