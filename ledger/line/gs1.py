"""GS1 identifiers as a label carries them: GTIN check digits and GS1 Digital Link addresses.

The format it owns, one address for a ball and one for a lot::

    https://<host>/01/{gtin14}/21/{serial}
    https://<host>/01/{gtin14}/10/{lot}

The path order is ``01 / 22 / 10 / 21``; the GTIN always has 14 digits; a serial, lot or variant is one to twenty
characters of GS1 character set 82, percent-encoded except for the RFC 3986 unreserved characters.
Two addresses mean the same thing when gtin14, variant, lot and serial are equal, whatever their host.

Source: GS1 Digital Link URI Syntax, by way of the unit tests of the GS1 syntax engine; GS1 General Specifications 7.9
(check digit).  The list of attribute identifiers that a query may hold is from memory.

It does not resolve an address, does not compress one, and reads no element string and no ``urn:epc:``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from ledger.errors import MalformedLink

CHARACTER_SET_82 = frozenset("!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz")
"""The characters that a serial or a lot number may hold (GS1 General Specifications, figure 7.11-1)."""

_UNRESERVED = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~")
_MOST_CHARACTERS = 20
_LONGEST_ADDRESS = 2000
_QUALIFIERS = {"22": "variant", "10": "lot", "21": "serial"}
_STEM = re.compile(
    r"(?:(?P<scheme>https?|HTTPS?)://)?"
    r"(?P<host>(?:[A-Za-z0-9._~-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?(?:/[A-Za-z0-9._~/-]*)?)"
)
_ADDRESS = re.compile(
    r"(?:https?|HTTPS?)://(?:[A-Za-z0-9._~-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?"
    r"(?P<path>/[^?#]*)(?:\?(?P<query>[^#]*))?(?:#.*)?"
)
_URI_TEXT = re.compile(r"(?:[A-Za-z0-9._~:/?#\[\]@!$&'()*+,;=-]|%[0-9A-Fa-f]{2})*")
_ATTRIBUTE = re.compile(
    r"1[1-35-7]|20|24[0-3]|25[01]|30|3[1-6]\d[0-9]|39[0-5]\d|41[0-7]|42\d|43\d\d|70\d\d|71\d|723\d"
    r"|80(?:0[1-358]|1[239]|20|30)|8200|9\d",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Link:
    """What an address names: a GTIN of 14 digits with its check digit checked, and what qualifies it."""

    gtin14: str
    serial: str | None = None
    lot: str | None = None
    variant: str | None = None


def gtin_check_digit(body: str) -> str:
    """Give the check digit of any GS1 number, ``body`` being its digits without it.

    Raises MalformedLink if ``body`` is empty or holds anything but digits.
    Source: GS1 General Specifications 7.9.1 (weights 3, 1, 3... from the right).
    """
    if not (body.isascii() and body.isdigit()):
        raise MalformedLink("gs1 number is not made of digits", expected="digits 0 to 9", got=body)
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(body)))
    return str(-total % 10)


def check_gtin14(text: str) -> None:
    """Return if ``text`` is a GTIN of 14 digits with a right check digit; raise MalformedLink if it is not."""
    if not (len(text) == 14 and text.isascii() and text.isdigit()):
        raise MalformedLink(
            "gtin is not 14 digits",
            expected="14 digits 0 to 9",
            got=text,
            mend="pad with leading zeros",
        )
    expected = gtin_check_digit(text[:-1])
    if text[-1] != expected:
        raise MalformedLink(
            "gtin check digit is wrong",
            expected=expected,
            got=text[-1],
            where=text,
            mend="read the number again",
        )


def pad_gtin(text: str) -> str:
    """Give the 14-digit form of a GTIN of 8, 12, 13 or 14 digits, its check digit checked; raises MalformedLink."""
    if len(text) not in {8, 12, 13, 14}:
        raise MalformedLink(
            "gtin has a length that no gtin has",
            expected="8, 12, 13 or 14 digits",
            got=text,
        )
    padded = text.rjust(14, "0")
    check_gtin14(padded)
    return padded


def format_link(stem: str, gtin14: str, serial: str, lot: str | None = None) -> str:
    """Give the address of a ball; ``stem`` is a host (then https) or a whole http or https stem.

    Raises MalformedLink for a stem, GTIN, serial or lot that cannot stand in an address.
    Source: GS1 Digital Link URI Syntax, path order 01, 10, 21.
    """
    path = "" if lot is None else _qualified("10", lot)
    return _address(stem, gtin14) + path + _qualified("21", serial)


def lot_link(stem: str, gtin14: str, lot: str) -> str:
    """Give the address of a lot of a trade item; the arguments and errors are those of ``format_link``."""
    return _address(stem, gtin14) + _qualified("10", lot)


def parse_link(uri: str) -> Link:
    """Read the address of a ball, a lot or a trade item; strict.

    Unknown query keys that are not numbers, known data attributes and the fragment are left aside.
    Raises MalformedLink for a mixed-case scheme, user name, illegal character, trailing slash, empty value, unknown or
    repeated application identifier, identifiers out of order, a GTIN that is not 14 digits, a wrong check digit, a
    character outside set 82, or a value of over 20 characters.
    """
    if len(uri) > _LONGEST_ADDRESS:
        raise MalformedLink(
            "address is too long",
            expected=f"at most {_LONGEST_ADDRESS} characters",
            got=len(uri),
        )
    if not _URI_TEXT.fullmatch(uri):
        raise MalformedLink("address holds a character or escape that no address may hold", got=uri)
    split = _ADDRESS.fullmatch(uri)
    if split is None:
        raise MalformedLink(
            "address is not of the web",
            expected="http or https, a host and a path",
            got=uri,
        )
    gtin14, qualifiers = _named_in_path(split["path"])
    check_gtin14(gtin14)
    _check_query(split["query"])
    return Link(gtin14=gtin14, **{_QUALIFIERS[ai]: value for ai, value in qualifiers})


# A service has one stem and few products.
@lru_cache(maxsize=1024)
def _address(stem: str, gtin14: str) -> str:
    check_gtin14(gtin14)
    split = _STEM.fullmatch(stem)
    if split is None:
        raise MalformedLink(
            "stem is no host or web address",
            expected="a host, or http(s)://host",
            got=stem,
        )
    scheme = (split["scheme"] or "https").lower()
    return f"{scheme}://{split['host'].rstrip('/')}/01/{gtin14}"


def _qualified(ai: str, value: str) -> str:
    _check_value(ai, value)
    return f"/{ai}/{_escaped(value)}"


def _check_value(ai: str, value: str) -> None:
    name = _QUALIFIERS[ai]
    if not 1 <= len(value) <= _MOST_CHARACTERS:
        raise MalformedLink(
            f"{name} has a wrong length",
            expected=f"1 to {_MOST_CHARACTERS} characters",
            got=value,
        )
    if not CHARACTER_SET_82.issuperset(value):
        raise MalformedLink(
            f"{name} holds a character outside gs1 set 82",
            got=next(character for character in value if character not in CHARACTER_SET_82),
            where=f"({ai})",
        )
    if value in {".", ".."}:
        # RFC 3986 5.2.4: a client removes such a segment, so the address would name something else.
        raise MalformedLink(
            f"{name} is a dot segment, which web clients remove",
            got=value,
            where=f"({ai})",
        )


def _named_in_path(path: str) -> tuple[str, list[tuple[str, str]]]:
    """Give the GTIN as written and the (identifier, value) pairs after it.

    The path is read from its end in pairs, so that a stem, a serial or a lot may look like an identifier.
    """
    segments = path.split("/")[1:]
    qualifiers: list[tuple[str, str]] = []
    while len(segments) >= 2:
        ai, raw = segments[-2:]
        segments = segments[:-2]
        if raw == "":
            raise MalformedLink("address has an empty value or a slash at its end", got=path)
        if ai == "01":
            return raw, _in_order(qualifiers[::-1])
        if ai not in _QUALIFIERS:
            raise MalformedLink(
                "address has an identifier that is not used here",
                expected="01, 22, 10 or 21",
                got=ai,
            )
        value = _decoded(raw)
        _check_value(ai, value)
        qualifiers.append((ai, value))
    raise MalformedLink("address names no gtin", expected="/01/ and 14 digits", got=path)


def _in_order(qualifiers: list[tuple[str, str]]) -> list[tuple[str, str]]:
    order = list(_QUALIFIERS)
    places = [order.index(ai) for ai, _ in qualifiers]
    if any(later <= earlier for earlier, later in pairwise(places)):
        raise MalformedLink(
            "address has identifiers out of order or twice",
            expected="22, 10, 21",
            got=[ai for ai, _ in qualifiers],
        )
    return qualifiers


def _check_query(query: str | None) -> None:
    seen: set[str] = set()
    for part in re.split("[&;]", query) if query else ():
        key, _, raw = part.partition("=")
        if not (key.isascii() and key.isdigit()):
            continue
        if not _ATTRIBUTE.fullmatch(key):
            raise MalformedLink(
                "query has a number that is no attribute",
                got=key,
                mend="lot and serial go in the path",
            )
        if key in seen:
            raise MalformedLink("query has an attribute twice", got=key)
        seen.add(key)
        value = _decoded(raw.replace("+", " "))
        if value == "" or not CHARACTER_SET_82.issuperset(value):
            raise MalformedLink(
                "attribute is empty or holds a character outside gs1 set 82",
                got=value,
                where=f"({key})",
            )


def _escaped(value: str) -> str:
    """Percent-encode all but the unreserved characters of RFC 3986 2.3; ``value`` is of set 82, so it is ASCII."""
    if _UNRESERVED.issuperset(value):
        return value
    return "".join(character if character in _UNRESERVED else f"%{ord(character):02X}" for character in value)


def _decoded(raw: str) -> str:
    # An escape above %7F gives a character outside set 82, which the check of the value then refuses.
    return re.sub("%([0-9A-Fa-f]{2})", lambda escape: chr(int(escape[1], 16)), raw)
