"""The differences between two editions of a rulebook, in words.

Requirements are the same one where they bear the same id.  A change of source, section, note or row is told too: what a
limit rests on is part of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Literal

import msgspec

from ledger.conformity.requirement import Requirement
from ledger.conformity.requirement_words import (
    decision_words,
    effect_words,
    method_words,
    per_words,
    quantity_words,
    requirement_words,
    scope_words,
)
from ledger.conformity.rulebook import Rulebook

Change = Literal[
    "head",
    "added",
    "removed",
    "quantity",
    "limit",
    "scope",
    "per",
    "effect",
    "clock",
    "dates",
    "method",
    "decision",
    "provenance",
    "source",
    "note",
]


class Difference(msgspec.Struct, frozen=True, kw_only=True):
    """One difference: ``before`` and ``after`` in words (empty where there is none), and both in a sentence.

    ``requirement`` is empty where the rulebook as a whole differs.
    """

    change: Change
    requirement: str = ""
    before: str = ""
    after: str = ""
    sentence: str


def _source(requirement: Requirement) -> str:
    section = f", section {requirement.section}" if requirement.section else ""
    return f"{requirement.source}{section} (row {requirement.row})"


_FIELDS: tuple[tuple[Change, Callable[[Requirement], str]], ...] = (
    ("quantity", quantity_words),
    ("limit", lambda requirement: requirement.limit_text),
    ("scope", lambda requirement: scope_words(requirement.scope)),
    ("per", per_words),
    ("effect", effect_words),
    ("clock", lambda requirement: f"date of {requirement.clock}"),
    ("dates", lambda requirement: requirement.period_text),
    ("method", lambda requirement: method_words(requirement.method)),
    ("decision", decision_words),
    ("provenance", lambda requirement: requirement.provenance),
    ("source", _source),
    ("note", lambda requirement: requirement.note),
)

_NAMES: dict[Change, str] = {"per": "what is held against it", "effect": "effect", "clock": "deciding date"}

_HEAD = ("id", "body", "edition", "title", "made_event", "note")


def differences(one: Rulebook, two: Rulebook) -> tuple[Difference, ...]:
    """What differs in ``two`` as against ``one``: the whole first, then requirements in ``two``'s order, then the removed."""
    return (*_head(one, two), *_requirements(one, two))


def _head(one: Rulebook, two: Rulebook) -> Iterator[Difference]:
    for field in _HEAD:
        before, after = getattr(one, field), getattr(two, field)
        if before != after:
            name = "manufacture" if field == "made_event" else field
            yield Difference(
                change="head", before=before, after=after, sentence=_changed("rulebook", name, before, after)
            )


def _requirements(one: Rulebook, two: Rulebook) -> Iterator[Difference]:
    earlier = {requirement.id: requirement for requirement in one.requirements}
    for requirement in two.requirements:
        if requirement.id in earlier:
            yield from _fields(earlier.pop(requirement.id), requirement)
        else:
            words = requirement_words(requirement)
            yield Difference(
                change="added",
                requirement=requirement.id,
                after=words,
                sentence=f"{requirement.id} added: {words}",
            )
    for requirement in earlier.values():
        words = requirement_words(requirement)
        yield Difference(
            change="removed",
            requirement=requirement.id,
            before=words,
            sentence=f"{requirement.id} removed: {words}",
        )


def _fields(one: Requirement, two: Requirement) -> Iterator[Difference]:
    for change, words in _FIELDS:
        before, after = words(one), words(two)
        if before != after:
            subject = f"{two.id} ({quantity_words(two)})"
            yield Difference(
                change=change,
                requirement=two.id,
                before=before,
                after=after,
                sentence=_changed(subject, _NAMES.get(change, change), before, after),
            )


def _changed(subject: str, name: str, before: str, after: str) -> str:
    return f'{subject}: {name} changed, before "{before or "none"}", now "{after or "none"}"'
