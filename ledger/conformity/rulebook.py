"""A rulebook: one edition of a body's requirements, one TOML file.

The file has ``format = 1``, ``id``, ``body``, ``edition``, ``title``, ``made_event``, ``note`` and one
``[[requirement]]`` table for each limit (fields of ``requirement.Requirement``; its scope and its method are inline
tables or the sub-tables ``[requirement.scope]`` and ``[requirement.method]``).  Numbers that are limits are strings, so
that they stay as printed.  Unknown keys are refused.  A rulebook is known by the SHA-256 of its file's bytes.

The rulebooks that ship lie beside this module in ``rulebooks/``; a plant's own are read the same way (see ``shelf``).
"""

from __future__ import annotations

import functools
import hashlib
import importlib.resources
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import msgspec

from ledger.conformity.requirement import Requirement, check_requirement
from ledger.conformity.toml_text import TomlText, check_word, read_toml
from ledger.errors import MalformedRulebook

MOST_REQUIREMENTS = 1000
"""Requirements of a rulebook: each is held against every other."""


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
class RulebookFile:
    """A rulebook with the bytes it was read from and their digest (64 lower hex digits)."""

    raw: bytes
    digest: str
    rulebook: Rulebook


def read_rulebook(raw: bytes, where: str = "rulebook") -> RulebookFile:
    """The rulebook that a file's bytes hold. Raises MalformedRulebook as ``parse_rulebook`` does."""
    return RulebookFile(raw, rulebook_digest(raw), parse_rulebook(raw, where))


def rulebook_digest(raw: bytes) -> str:
    """SHA-256 of the file's bytes, 64 lower hex digits."""
    return hashlib.sha256(raw).hexdigest()


def parse_rulebook(text: bytes | str, where: str = "rulebook") -> Rulebook:
    """A rulebook that keeps its schema, from the text of a file.

    ``where`` is the file's name for messages.  Raises MalformedRulebook, whose ``where`` adds the line when it can be
    told: what ``read_toml`` refuses, unknown quantities or units, limits that do not fit their operator, a quantity of
    several meanings without its definition, a weight class without an edge rule, repeated ids, and requirements of one
    family whose dates overlap.
    """
    rulebook, lines = read_toml(text, Rulebook, where, "requirement")
    check_word(rulebook.id, lines.head_place("id"))
    _check_rulebook(rulebook, lines)
    return rulebook


@functools.cache
def shipped_rulebooks() -> Mapping[str, RulebookFile]:
    """The rulebooks that ship, by id, in the order of their ids. Read once from the package."""
    shipped: dict[str, RulebookFile] = {}
    folder = importlib.resources.files("ledger.conformity").joinpath("rulebooks")
    for file in sorted(folder.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".toml"):
            read = read_rulebook(file.read_bytes(), file.name)
            shipped[read.rulebook.id] = read
    return MappingProxyType(shipped)


def _check_rulebook(rulebook: Rulebook, lines: TomlText) -> None:
    if not rulebook.requirements:
        raise MalformedRulebook("rulebook has no requirement", expected="at least one", where=lines.where)
    if len(rulebook.requirements) > MOST_REQUIREMENTS:
        raise MalformedRulebook(
            "rulebook has too many requirements",
            expected=f"at most {MOST_REQUIREMENTS}",
            got=len(rulebook.requirements),
            where=lines.where,
        )
    for number, requirement in enumerate(rulebook.requirements):
        try:
            check_requirement(requirement)
        except MalformedRulebook as error:
            at = lines.place(number, *reversed(error.where.split(".")))
            raise MalformedRulebook(
                error.problem, expected=error.expected, got=error.got, where=at, mend=error.mend
            ) from error
        for earlier in rulebook.requirements[:number]:
            _check_pair(earlier, requirement, lines, number)


def _check_pair(earlier: Requirement, later: Requirement, lines: TomlText, number: int) -> None:
    if earlier.id == later.id:
        raise MalformedRulebook("requirement id is used twice", got=later.id, where=lines.place(number, "id"))
    if earlier.same_family(later) and earlier.overlaps(later):
        raise MalformedRulebook(
            f"dates of {later.id} overlap those of {earlier.id}",
            expected=f"periods apart from {earlier.period_text}",
            got=later.period_text,
            where=lines.place(number, "effective_from", "id"),
            mend="end the earlier one the day before the later one begins",
        )
