"""A directory of plants: whose book is where, under which key, and which serials each may have issued.

One TOML file, ``format = 1`` and a ``[[plant]]`` table for each plant, with one or more ``[[plant.serials]]``::

    [[plant]]
    id = "north"
    origin = "north.example.com/book"
    address = "https://north.example.com"
    verifiers = ["north.example.com/book+1f2e3d4c+AQ..."]
    gtins = ["09521234543213"]

    [[plant.serials]]
    prefix = "N"                 # or pattern = "N999999", or own = true
    to_on = 2026-06-30           # the last day on which it may have been engraved; from_on: the first

Serials of two plants that may be the same on one day are refused, since a directory could not tell them apart, unless
both say ``shared = true``.  The own scheme is every plant's: each key gives its serials in an order of its own, out of
the same ones, so that it needs no word.  A prefix whose characters the own scheme has overlaps with it, since it says no
length; a pattern of another length than nine does not.  GTINs may be of several plants: a product has one, wherever it is made.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any, Literal, NamedTuple

import msgspec

from ledger.book.signing import NOTE_KEY, Verifier, is_key_name, parse_verifier
from ledger.conformity.toml_text import read_toml
from ledger.errors import MalformedInput, MalformedRulebook
from ledger.line.gs1 import check_gtin14
from ledger.tracing.plant_lines import PlantLines, directory_error
from ledger.tracing.serial_space import OWN_SPACE, SerialSpace, pattern_space, prefix_space

MOST_PLANTS = 1_000
MOST_SERIALS = 2_000
"""Serial tables of a directory."""

_ID = re.compile(r"[a-z0-9][a-z0-9._-]{0,39}", re.ASCII)
_ONE = {"id": "id", "origin": "origin", "address": "address", "verifiers": "key"}
_MEND = "end one the day before the other begins, write a pattern of its length for a prefix, or shared = true in both"

AddressCheck = Callable[[str, str], object]
"""Takes an address and where it stands; raises MalformedInput. Which addresses may be asked is known where they are."""


class Issued(NamedTuple):
    """Serials that a plant may have issued, and when; both days are in it."""

    space: SerialSpace
    from_on: dt.date | None = None
    to_on: dt.date | None = None
    shared: bool = False

    def on(self, day: dt.date | None) -> bool:
        """Whether one may have been engraved on that day; on a day that is not known, it may."""
        return day is None or ((self.from_on or dt.date.min) <= day <= (self.to_on or dt.date.max))

    def meets(self, other: Issued) -> bool:
        """Whether both may be engraved on one day."""
        starts = max(self.from_on or dt.date.min, other.from_on or dt.date.min)
        return starts <= min(self.to_on or dt.date.max, other.to_on or dt.date.max)

    @property
    def words(self) -> str:
        """The serials and their days."""
        since = f" from {self.from_on}" if self.from_on else ""
        until = f" to {self.to_on}" if self.to_on else ""
        return f"{self.space.words}{since}{until}"


class Plant(NamedTuple):
    """One plant: ``address`` of its service without a slash at the end, ``verifiers`` of its checkpoint key, old and new."""

    id: str
    origin: str
    address: str
    verifiers: tuple[Verifier, ...]
    issued: tuple[Issued, ...]
    gtins: tuple[str, ...] = ()


class _Serials(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    own: bool = False
    pattern: str = ""
    prefix: str = ""
    from_on: dt.date | None = None
    to_on: dt.date | None = None
    shared: bool = False


class _Plant(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    origin: str
    address: str
    verifiers: tuple[str, ...]
    gtins: tuple[str, ...] = ()
    serials: tuple[_Serials, ...] = ()


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    format: Literal[1]
    plant: tuple[_Plant, ...] = ()


def parse_plants(raw: bytes, where: str, check_address: AddressCheck) -> tuple[Plant, ...]:
    """The plants of a file, in its order. ``where`` is the file's name for messages.

    Raises MalformedInput naming the line: what `read_toml` refuses, two plants with one id, origin, address or key, a key
    that is not named as the origin, addresses, GTINs and serial schemes that are none, and serials of two plants that may
    be the same.
    """
    try:
        file, _ = read_toml(raw, _File, where, "plant")
    except MalformedRulebook as error:
        raise directory_error(error, raw, where) from error
    if not 1 <= len(file.plant) <= MOST_PLANTS:
        raise MalformedInput(
            "directory has too few or too many plants",
            expected=f"1 to {MOST_PLANTS}",
            got=len(file.plant),
            where=where,
            mend="write a [[plant]] table for each",
        )
    reading = _Reading(PlantLines(raw.decode(), where), check_address)
    return tuple(reading.plant(number, table) for number, table in enumerate(file.plant))


class _Reading:
    """A directory while it is read: what is taken so far, and by which plant."""

    def __init__(self, lines: PlantLines, check_address: AddressCheck) -> None:
        self._lines = lines
        self._check_address = check_address
        self._taken: dict[tuple[str, object], tuple[int, str]] = {}
        self._issued: dict[SerialSpace, list[tuple[str, Issued]]] = {}
        self._tables = 0

    def plant(self, number: int, table: _Plant) -> Plant:
        """One plant, held against those before it."""
        if not _ID.fullmatch(table.id):
            raise self._wrong(number, "id", "id is out of form", "1 to 40 lower-case letters, digits, . _ -", table.id)
        self._take(number, table, "id", table.id)
        if not is_key_name(table.origin):
            raise self._wrong(number, "origin", "origin is none", "a name without spaces and +", table.origin)
        self._take(number, table, "origin", table.origin)
        address = table.address.rstrip("/")
        self._check_address(address, self._lines.plant(number, "address"))
        self._take(number, table, "address", address.lower())
        if not table.verifiers:
            raise self._wrong(number, "verifiers", "plant has no key", "verifier lines of its checkpoint key", None)
        verifiers = tuple(self._verifier(number, table, line) for line in table.verifiers)
        for gtin in table.gtins:
            _placed(check_gtin14, gtin, self._lines.plant(number, "gtins"))
        if not table.serials:
            raise self._wrong(number, "serials", "plant has no serials", "a [[plant.serials]] table or more", None)
        issued = tuple(self._serials(number, place, table.id, said) for place, said in enumerate(table.serials))
        return Plant(table.id, table.origin, address, verifiers, issued, tuple(dict.fromkeys(table.gtins)))

    def _wrong(self, number: int, key: str, problem: str, expected: str, got: str | None) -> MalformedInput:
        return MalformedInput(problem, expected=expected, got=got, where=self._lines.plant(number, key))

    def _take(self, number: int, table: _Plant, key: str, value: object) -> None:
        taken, by = self._taken.setdefault((key, value), (number, table.id))
        if taken != number:
            raise MalformedInput(
                f"two plants have one {_ONE[key]}",
                got=f"{table.id} and {by}",
                where=self._lines.plant(number, key),
                mend="each plant has a book, a key and an address of its own: take out the one that is wrong",
            )

    def _verifier(self, number: int, table: _Plant, line: str) -> Verifier:
        where = self._lines.plant(number, "verifiers")
        verifier: Verifier = _placed(parse_verifier, line, where)
        if verifier.kind != NOTE_KEY or verifier.name != table.origin:
            raise MalformedInput(
                "key is not that of the plant's book",
                expected=f"a checkpoint key named {table.origin}",
                got=verifier.name if verifier.kind == NOTE_KEY else "a witness's key",
                where=where,
                mend="write the verifier line of the book's checkpoint key; `pourbook keys` shows it",
            )
        self._take(number, table, "verifiers", verifier.public)
        return verifier

    def _serials(self, number: int, place: int, plant: str, said: _Serials) -> Issued:
        if bool(said.own) + bool(said.pattern) + bool(said.prefix) != 1:
            raise MalformedInput(
                "serials are said in one way",
                expected="one of own = true, pattern and prefix",
                where=self._lines.serials(number, place, "own", "pattern", "prefix"),
                mend="write a [[plant.serials]] table for each scheme",
            )
        if said.from_on is not None and said.to_on is not None and said.to_on < said.from_on:
            raise MalformedInput(
                "serials end before they begin",
                expected=f"{said.from_on} or later",
                got=str(said.to_on),
                where=self._lines.serials(number, place, "to_on"),
            )
        space: SerialSpace = _placed(_space, said, self._lines.serials(number, place, "pattern", "prefix"))
        issued = Issued(space, said.from_on, said.to_on, said.shared)
        self._check_apart(issued, plant, self._lines.serials(number, place, "pattern", "prefix", "own"))
        return issued

    def _check_apart(self, issued: Issued, plant: str, where: str) -> None:
        """Hold serials against those of every other plant, one comparison for each space, and keep them."""
        for space, others in self._issued.items():
            if space == issued.space == OWN_SPACE or not space.overlaps(issued.space):
                continue
            for other_plant, other in others:
                if other_plant != plant and not (issued.shared and other.shared) and issued.meets(other):
                    raise MalformedInput(
                        f"serials of {plant} may be the same as those of {other_plant}",
                        expected=f"none of {other.words}",
                        got=issued.words,
                        where=where,
                        mend=_MEND,
                    )
        self._issued.setdefault(issued.space, []).append((plant, issued))
        self._tables += 1
        if self._tables > MOST_SERIALS:
            raise MalformedInput(
                "directory has too many serial tables", expected=f"at most {MOST_SERIALS}", where=where
            )


def _space(said: _Serials) -> SerialSpace:
    if said.own:
        return OWN_SPACE
    return pattern_space(said.pattern) if said.pattern else prefix_space(said.prefix)


def _placed(read: Callable[[Any], Any], given: object, where: str) -> Any:
    """What a reader gives, or its error with the place in the file."""
    try:
        return read(given)
    except MalformedInput as error:
        raise MalformedInput(
            error.problem, expected=error.expected, got=error.got, where=where, mend=error.mend
        ) from error
