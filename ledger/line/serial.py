"""The serial that is engraved on a ball: how one is allotted, and how a typed one is checked.

The project's own scheme is nine characters: a body of eight characters of ``23456789ACDEFGHJKMNPQRTVWXY`` and one
check character, ISO/IEC 7064 MOD 37,2 over the whole table ``0-9A-Z*``, which is itself among the 27 (bodies whose
check character falls outside are not used).  Left out are shapes that wear, or a round cutter, confuses.

Allotting is a bijection from a counter to the usable bodies: a keyed permutation of the counter (a ten-round Feistel
network over 27^8 with HMAC-SHA-256, walked until it falls below the number of usable bodies), then the usable body of
that rank in the alphabet's order.  Without the key, one serial says nothing of the next.

A plant may keep its present scheme instead, as a pattern; its numbers may repeat.

Source: ISO/IEC 7064 (MOD 37,2), through its published examples; Feistel rounds after NIST SP 800-38G (ten rounds),
without its claims; the alphabet is common practice, no source.

It does not keep the counter, hold the key, or know which serials were used.
"""

from __future__ import annotations

import hmac
import re
from dataclasses import dataclass, field
from functools import lru_cache

from ledger.errors import MalformedKey, MalformedSerial
from ledger.line.gs1 import CHARACTER_SET_82

ALPHABET = "23456789ACDEFGHJKMNPQRTVWXY"
"""The characters of the own scheme, in ascending order of value."""

_CHECK_TABLE = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
_CHECK_VALUES = {character: value for value, character in enumerate(_CHECK_TABLE[:36])}
_VALUES = tuple(_CHECK_TABLE.index(character) for character in ALPHABET)
_BODY_LENGTH = 8
_HALF: int = len(ALPHABET) ** (_BODY_LENGTH // 2)
_ROUNDS = 10
_SHORTEST_KEY = 16
_MOST_CHARACTERS = 20
_NOT_ON_LABELS = frozenset("/%+ ")


def _completions() -> tuple[tuple[int, ...], ...]:
    """Count, for each number of characters still to come and each running sum, the bodies that end usable."""
    rows = [tuple(int((1 - total) % 37 in _VALUES) for total in range(37))]
    for _ in range(_BODY_LENGTH):
        last = rows[-1]
        rows.append(tuple(sum(last[(total + value) * 2 % 37] for value in _VALUES) for total in range(37)))
    return tuple(rows)


_COMPLETIONS = _completions()

SERIAL_COUNT = _COMPLETIONS[_BODY_LENGTH][0]
"""How many serials the own scheme has: about 2.06 x 10^11, 27/37 of 27^8."""


def check_character(body: str) -> str:
    """Give the ISO/IEC 7064 MOD 37,2 check character of ``body``: one of ``0-9A-Z*``.

    Raises MalformedSerial if ``body`` holds anything but ``0-9A-Z``.
    """
    total = 0
    for character in body:
        value = _CHECK_VALUES.get(character)
        if value is None:
            raise MalformedSerial(
                "body holds a character that has no check value",
                expected="0-9A-Z",
                got=character,
            )
        total = (total + value) * 2 % 37
    return _CHECK_TABLE[(1 - total) % 37]


def serial_at(counter: int, key: bytes) -> str:
    """Give the serial of a counter, 0 to ``SERIAL_COUNT - 1``: always nine characters, never the same for another.

    Raises MalformedSerial for a counter outside that range, MalformedKey for a key under 16 bytes.
    Cost: about fourteen HMACs.
    """
    _check_key(key)
    if not 0 <= counter < SERIAL_COUNT:
        raise MalformedSerial(
            "counter is outside the scheme",
            expected=f"0 to {SERIAL_COUNT - 1}",
            got=counter,
        )
    number = _permuted(counter, key)
    while number >= SERIAL_COUNT:
        number = _permuted(number, key)
    body = _body_of_rank(number)
    return body + check_character(body)


def counter_of(serial: str, key: bytes) -> int:
    """Give back the counter that ``serial_at`` made this serial of; raises MalformedSerial, MalformedKey."""
    _check_key(key)
    _check_own(serial)
    number = _unpermuted(_rank_of_body(serial[:-1]), key)
    while number >= SERIAL_COUNT:
        number = _unpermuted(number, key)
    return number


def next_serials(key: bytes, counter: int, count: int) -> list[str]:
    """Give the serials of ``counter`` to ``counter + count - 1``; the errors are those of ``serial_at``."""
    return [serial_at(number, key) for number in range(counter, counter + count)]


def parse_serial(typed: str) -> str:
    """Give the own-scheme serial that someone typed or scanned: upper case, without spaces and hyphens.

    No character is taken for another: a typed O is refused, never read as 0.
    Raises MalformedSerial naming the character that cannot occur and its place, or the wrong check character.
    """
    serial = _upper(typed.strip()).replace(" ", "").replace("-", "")
    _check_own(serial)
    return serial


def check_serial_text(serial: str) -> None:
    """Return if a label can carry ``serial``, of whatever scheme; raise MalformedSerial if it cannot.

    One to twenty characters of GS1 set 82, without ``/``, ``%``, ``+`` and space, which addresses and the programs
    that read them treat in more than one way, and not ``.`` or ``..``, which web clients remove from an address.
    """
    if not 1 <= len(serial) <= _MOST_CHARACTERS:
        raise MalformedSerial(
            "serial has a wrong length",
            expected=f"1 to {_MOST_CHARACTERS} characters",
            got=serial,
        )
    for place, character in enumerate(serial, 1):
        if character in _NOT_ON_LABELS or character not in CHARACTER_SET_82:
            raise MalformedSerial(
                "serial holds a character that a label cannot carry",
                got=character,
                where=f"character {place}",
            )
    if serial in {".", ".."}:
        raise MalformedSerial("serial is a dot segment, which web clients remove", got=serial)


@dataclass(frozen=True, slots=True)
class OwnScheme:
    """The project's own scheme under a secret key of at least 16 bytes; its serials are unique for ever."""

    key: bytes = field(repr=False)
    name: str = field(default="own", init=False)
    may_repeat: bool = field(default=False, init=False)

    def __post_init__(self) -> None:
        """Refuse a short key (MalformedKey)."""
        _check_key(self.key)

    def check(self, serial: str) -> None:
        """Return if ``serial``, as stored, is one of the scheme's; raise MalformedSerial if it is not."""
        _check_own(serial)

    def parse(self, typed: str) -> str:
        """Give the serial that was typed; see ``parse_serial``."""
        return parse_serial(typed)


@dataclass(frozen=True, slots=True)
class PatternScheme:
    r"""A plant's present scheme: ``A`` any letter A-Z, ``9`` any digit, ``?`` either; all else stands for itself.

    A backslash before ``A``, ``9`` or ``?`` takes it as itself: ``B\A9999`` is BA and four digits.
    There is no check character, and numbers may repeat.
    """

    pattern: str
    may_repeat: bool = field(default=True, init=False)
    _expression: re.Pattern[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse a pattern that is empty, too long, without any class, or holds what a label cannot carry."""
        places = re.findall(r"\\.|.", self.pattern, re.DOTALL)
        carried = CHARACTER_SET_82 - _NOT_ON_LABELS
        usable = all(place[-1] in carried for place in places) and 1 <= len(places) <= _MOST_CHARACTERS
        if not usable or not {"A", "9", "?"} & set(places):
            raise MalformedSerial(
                "serial pattern cannot be used",
                expected=f"1 to {_MOST_CHARACTERS} characters that a label can carry, at least one of them A, 9 or ?",
                got=self.pattern,
            )
        classes = {"A": "[A-Z]", "9": "[0-9]", "?": "[0-9A-Z]"}
        expression = "".join(classes.get(place) or re.escape(place[-1]) for place in places)
        object.__setattr__(self, "_expression", re.compile(expression))

    @property
    def name(self) -> str:
        """The scheme's name in the book: ``pattern`` and the pattern itself."""
        return f"pattern {self.pattern}"

    def check(self, serial: str) -> None:
        """Return if ``serial``, as stored, fits the pattern; raise MalformedSerial if it does not."""
        check_serial_text(serial)
        if not self._expression.fullmatch(serial):
            raise MalformedSerial(
                "serial does not fit the plant's scheme",
                expected=self.pattern,
                got=serial,
                mend="read the number again",
            )

    def parse(self, typed: str) -> str:
        """Give the serial that was typed, without spaces around it; upper-cased only where it fits no other way."""
        serial = typed.strip()
        if not self._expression.fullmatch(serial):
            serial = _upper(serial)
        self.check(serial)
        return serial


SerialScheme = OwnScheme | PatternScheme
"""How a plant numbers its balls: both have ``check``, ``parse``, ``name`` and ``may_repeat``."""


def _check_key(key: bytes) -> None:
    if len(key) < _SHORTEST_KEY:
        raise MalformedKey(
            "serial key is too short",
            expected=f"at least {_SHORTEST_KEY} bytes",
            got=len(key),
        )


def _upper(text: str) -> str:
    if text.isascii():
        return text.upper()
    # Only ASCII letters: str.upper would turn a dotless i into the letter I, and one character into two.
    return "".join(character.upper() if character.isascii() else character for character in text)


# A number is looked at when it is allotted, again when it is engraved, and when its ball is asked for.
@lru_cache(maxsize=4096)
def _check_own(serial: str) -> None:
    for place, character in enumerate(serial, 1):
        if character not in ALPHABET:
            raise MalformedSerial(
                "serial holds a character that cannot occur",
                expected=f"one of {ALPHABET}",
                got=character,
                where=f"character {place}",
                mend="read the number again: 0 O, 1 I L, B, S, U and Z are never used",
            )
    if len(serial) != _BODY_LENGTH + 1:
        raise MalformedSerial(
            "serial has a wrong length",
            expected="9 characters",
            got=f"{len(serial)}",
            where=serial[:20],
        )
    if check_character(serial[:-1]) != serial[-1]:
        # The right character is not named: one wrong character anywhere gives this, and the mend is not to change it.
        raise MalformedSerial(
            "serial check character does not fit",
            got=serial,
            mend="read the number again, one character is wrong",
        )


def _round(key: bytes, number: int, half: int) -> int:
    message = b"pourbook serial 1" + bytes([number]) + half.to_bytes(4, "big")
    return int.from_bytes(hmac.digest(key, message, "sha256")[:16], "big") % _HALF


def _permuted(number: int, key: bytes) -> int:
    left, right = divmod(number, _HALF)
    for turn in range(_ROUNDS):
        left, right = right, (left + _round(key, turn, right)) % _HALF
    return left * _HALF + right


def _unpermuted(number: int, key: bytes) -> int:
    left, right = divmod(number, _HALF)
    for turn in reversed(range(_ROUNDS)):
        left, right = (right - _round(key, turn, left)) % _HALF, left
    return left * _HALF + right


def _body_of_rank(rank: int) -> str:
    body, total = "", 0
    for left in reversed(range(_BODY_LENGTH)):
        place, following = 0, (total + _VALUES[0]) * 2 % 37
        while rank >= _COMPLETIONS[left][following]:
            rank -= _COMPLETIONS[left][following]
            place += 1
            following = (total + _VALUES[place]) * 2 % 37
        body += ALPHABET[place]
        total = following
    return body


def _rank_of_body(body: str) -> int:
    rank, total = 0, 0
    for left, character in zip(reversed(range(_BODY_LENGTH)), body, strict=True):
        place = ALPHABET.index(character)
        rank += sum(_COMPLETIONS[left][(total + value) * 2 % 37] for value in _VALUES[:place])
        total = (total + _VALUES[place]) * 2 % 37
    return rank
