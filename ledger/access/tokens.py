"""Tokens: what an account shows to be let in, and what is kept of them.

The text is ``pbk1_`` and 43 characters of base64url (RFC 4648 section 5, without padding) for 32 random bytes, 48 in
all.  Only its SHA-256 is kept.  A plain digest is enough, since a token is 256 random bits and not a password: nobody
can try them all (NIST SP 800-63B section 5.1.2.2, look-up secrets of 112 bits or more; from memory).

No randomness here: the bytes are given.
"""

from __future__ import annotations

import base64
import re
from hashlib import sha256

import msgspec

from ledger.errors import Unauthenticated

PREFIX = "pbk1_"
TOKEN_BYTES = 32

_TEXT = re.compile(re.escape(PREFIX) + r"[A-Za-z0-9_-]{43}", re.ASCII)


class Account(msgspec.Struct, frozen=True):
    """Who asks: the account's id, which carries no name, and its roles."""

    account: str
    roles: tuple[str, ...]


def format_token(random: bytes) -> str:
    """Give the text of a token; ``random`` is 32 fresh random bytes. Raises Unauthenticated for another length."""
    if len(random) != TOKEN_BYTES:
        raise Unauthenticated("token has another length", expected=f"{TOKEN_BYTES} bytes", got=f"{len(random)} bytes")
    return PREFIX + base64.urlsafe_b64encode(random).rstrip(b"=").decode()


def parse_token(text: str) -> bytes:
    """Give the 32 bytes of a token's text. Raises Unauthenticated, which never repeats the text."""
    if not _TEXT.fullmatch(text):
        raise Unauthenticated(
            "token has another form", expected=f"{PREFIX} and 43 characters", mend="send the token as it was given"
        )
    random = base64.urlsafe_b64decode(text.removeprefix(PREFIX) + "=")
    # The last character carries two bits that are not used; only one text stands for one token.
    if format_token(random) != text:
        raise Unauthenticated("token has another form", mend="send the token as it was given")
    return random


def token_digest(text: str) -> str:
    """SHA-256 of a token's bytes, 64 hex digits: what is kept of it. Raises Unauthenticated for text that is none."""
    return sha256(parse_token(text)).hexdigest()
