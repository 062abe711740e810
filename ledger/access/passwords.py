"""Passwords: which one an account may have, and the name under which a person signs in.

Source: NIST SP 800-63B section 5.1.1.2 (from memory): length counts and nothing else does, so no rule asks for digits or
signs; at least 64 characters are taken; the text is normalised (NFKC) before it is hashed; a password that is the
account's own name is refused.  That section asks for 8 characters at least; 12 is common practice, no source.

No hashing here: it needs randomness (`ledger.application.password_hashes`).
"""

from __future__ import annotations

import unicodedata

from ledger.errors import Refused

SHORTEST = 12
LONGEST = 128
"""Characters of a password after normalising, at least and at most."""


def normal_password(text: str) -> str:
    """The text that is hashed: NFKC, so that the same keys on another keyboard give the same password."""
    return unicodedata.normalize("NFKC", text)


def sign_in_name(name: str) -> str:
    """The form in which names are compared at sign-in: NFKC, case folded, one space between words, none at the ends.

    What no store takes (half of a surrogate pair, U+0000) stands as a question mark.
    """
    sound = name.encode("utf-8", "replace").decode().replace("\0", "?")
    return " ".join(unicodedata.normalize("NFKC", sound).casefold().split())


def check_password(password: str, name: str) -> str:
    """Give the normalised password of the account ``name``. Raises Refused, which never repeats it."""
    normal = normal_password(password)
    if not SHORTEST <= len(normal) <= LONGEST:
        raise Refused(
            "password has another length",
            expected=f"{SHORTEST} to {LONGEST} characters",
            got=f"{len(normal)} characters",
            where="password",
            mend="take several words that do not belong together",
        )
    if sign_in_name(normal) == sign_in_name(name):
        raise Refused(
            "password is the name of the account",
            expected="another text than the name",
            where="password",
            mend="take several words that do not belong together",
        )
    return normal
