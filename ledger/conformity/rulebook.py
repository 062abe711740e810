"""A rulebook: one edition of a body's requirements, one TOML file.

The file has ``format = 1``, ``id``, ``body``, ``edition``, ``title``, ``made_event``, ``note`` and one
``[[requirement]]`` table for each limit (fields of ``requirement.Requirement``; its scope is an inline table or the
sub-table ``[requirement.scope]``).  Numbers that are limits are strings, so that they stay as printed.  Unknown keys
are refused.  A rulebook is known by the SHA-256 of its file's bytes.

The rulebooks that ship lie beside this module in ``rulebooks/``; a plant's own are read the same way.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.resources
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import msgspec

from ledger.conformity.requirement import Requirement, check_requirement
from ledger.errors import MalformedRulebook

LARGEST_FILE = 1_000_000
"""Bytes of a rulebook file."""


class Rulebook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One edition. ``made_event`` says which event of a ball's life its date of manufacture is."""

    format: Literal[1]
    id: str
    body: str
    edition: str
    title: str
    made_event: Literal["pour", "turning", "engraving", "release"]
    requirement: tuple[Requirement, ...]
    note: str = ""

    @property
    def requirements(self) -> tuple[Requirement, ...]:
        """The requirements in the order of the file."""
        return self.requirement


@dataclass(frozen=True, slots=True)
class ShippedRulebook:
    """A rulebook with the bytes it was read from and their digest (64 lower hex digits)."""

    raw: bytes
    digest: str
    rulebook: Rulebook


def rulebook_digest(raw: bytes) -> str:
    """SHA-256 of the file's bytes, 64 lower hex digits."""
    return hashlib.sha256(raw).hexdigest()


def parse_rulebook(text: bytes | str, where: str = "rulebook") -> Rulebook:
    """A rulebook that keeps its schema, from the text of a file.

    ``where`` is the file's name for messages.  Raises MalformedRulebook, whose ``where`` adds the line when it can be
    told: bytes that are no UTF-8 TOML, unknown or missing keys, unknown quantities or units, limits that do not fit
    their operator, a weight class without an edge rule, repeated ids, and requirements of one family whose dates
    overlap.
    """
    if len(text) > LARGEST_FILE:
        raise MalformedRulebook("file is too large", expected=f"at most {LARGEST_FILE} bytes", where=where)
    try:
        source = text if isinstance(text, str) else text.decode("utf-8")
        tables = tomllib.loads(source)
    except (ValueError, RecursionError) as error:
        raise MalformedRulebook(f"file is no TOML: {_first_line(error)}", where=where) from error
    lines = source.splitlines()
    try:
        rulebook = msgspec.convert(tables, Rulebook)
    except msgspec.ValidationError as error:
        raise _schema_error(error, lines, where) from error
    _check_rulebook(rulebook, lines, where)
    return rulebook


@functools.cache
def shipped_rulebooks() -> Mapping[str, ShippedRulebook]:
    """The rulebooks that ship, by id, in the order of their ids. Read once from the package."""
    shipped: dict[str, ShippedRulebook] = {}
    folder = importlib.resources.files("ledger.conformity").joinpath("rulebooks")
    for file in sorted(folder.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".toml"):
            raw = file.read_bytes()
            rulebook = parse_rulebook(raw, file.name)
            shipped[rulebook.id] = ShippedRulebook(raw, rulebook_digest(raw), rulebook)
    return MappingProxyType(shipped)


def _check_rulebook(rulebook: Rulebook, lines: list[str], where: str) -> None:
    if not rulebook.requirements:
        raise MalformedRulebook("rulebook has no requirement", expected="at least one", where=where)
    for number, requirement in enumerate(rulebook.requirements):
        try:
            check_requirement(requirement)
        except MalformedRulebook as error:
            error_at = _place(lines, where, number, error.where)
            raise MalformedRulebook(error.problem, expected=error.expected, got=error.got, where=error_at) from error
        for earlier in rulebook.requirements[:number]:
            _check_pair(earlier, requirement, _place(lines, where, number, "id"))


def _check_pair(earlier: Requirement, later: Requirement, where: str) -> None:
    if earlier.id == later.id:
        raise MalformedRulebook("requirement id is used twice", got=later.id, where=where)
    if earlier.same_family(later) and earlier.overlaps(later):
        raise MalformedRulebook(
            f"dates of {later.id} overlap those of {earlier.id}",
            expected=f"periods apart from {earlier.period_text}",
            got=later.period_text,
            where=where,
            mend="end the earlier one the day before the later one begins",
        )


def _schema_error(error: msgspec.ValidationError, lines: list[str], where: str) -> MalformedRulebook:
    message = _first_line(error)
    number = re.search(r"\$\.requirement\[(\d+)\]", message)
    keys = re.findall(r"`(\w+)`", message.split(" - at ")[0]) + re.findall(r"\.([a-z_]+)", message)[::-1]
    if number:
        # An unknown key has a line of its own; a missing one falls back to the head of its requirement.
        return MalformedRulebook(f"schema is not kept: {message}", where=_place(lines, where, int(number[1]), *keys))
    return MalformedRulebook(f"schema is not kept: {message}", where=where)


def _place(lines: list[str], where: str, number: int, *keys: str) -> str:
    """File and line of the first of the keys found in a requirement, else of the requirement's head."""
    heads = [at for at, line in enumerate(lines) if re.match(r"\s*\[\[\s*requirement\s*\]\]", line)]
    if number >= len(heads):
        return where
    end = heads[number + 1] if number + 1 < len(heads) else len(lines)
    for key in keys:
        for at in range(heads[number], end):
            if re.match(rf"\s*(\[requirement\.)?{re.escape(key)}\s*[=.\]]", lines[at]):
                return f"{where} line {at + 1}"
    return f"{where} line {heads[number] + 1}"


def _first_line(error: Exception) -> str:
    text = str(error) or type(error).__name__
    return text.splitlines()[0][:200]
