"""The two text forms that every C2SP format shares: padded base64 and ASCII decimal numbers.

Strict by re-encoding: the general decoders skip junk, accept unused trailing bits, other digits,
signs, spaces and underscores. Source: RFC 4648 section 4; C2SP signed-note, tlog-checkpoint.
"""

from __future__ import annotations

import binascii
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.errors import MalformedInput

HASH_BYTES = 32
MAX_COUNT = 2**63 - 1

_COUNT = re.compile(r"0|[1-9][0-9]{0,18}", re.ASCII)


def format_base64(raw: bytes) -> str:
    """Give standard base64 with padding, on one line."""
    return binascii.b2a_base64(raw, newline=False).decode("ascii")


def parse_base64(text: str, error_class: type[MalformedInput], where: str = "") -> bytes:
    """Read standard padded base64; raises ``error_class`` for anything that does not re-encode to ``text``."""
    try:
        raw = binascii.a2b_base64(text.encode("ascii"), strict_mode=True)
    except (binascii.Error, UnicodeEncodeError) as error:
        raise error_class("text is not padded base64", got=text, where=where) from error
    if format_base64(raw) != text:
        raise error_class("base64 is not in its one exact form", got=text, where=where)
    return raw


def parse_hash(text: str, error_class: type[MalformedInput], where: str = "") -> bytes:
    """Read one base64 hash line: exactly 32 bytes, else ``error_class``."""
    raw = parse_base64(text, error_class, where)
    if len(raw) != HASH_BYTES:
        raise error_class("hash has another length", expected=f"{HASH_BYTES} bytes", got=len(raw), where=where)
    return raw


def parse_count(text: str, error_class: type[MalformedInput], where: str = "") -> int:
    """Read an ASCII decimal of at most 2^63-1 without sign or leading zero, else ``error_class``."""
    if _COUNT.fullmatch(text) is None:
        raise error_class("number is not an ASCII decimal without leading zeros", got=text, where=where)
    number = int(text)
    if number > MAX_COUNT:
        raise error_class("number is too large", expected="at most 2^63-1", got=text, where=where)
    return number
