"""A checklist: what a body wants to see when a model is submitted to it, as a TOML file of a plant or one that ships.

The file has ``format = 1``, ``id``, ``body``, ``title``, ``note`` and one ``[[item]]`` table for each thing wanted
(fields of `Item`).  Unknown keys are refused.  A checklist is known by the SHA-256 of its file's bytes.

What a body asks for in numbers was not read anywhere, so the one that ships leaves them open: a plant copies it, gives it
an id of its own and writes the numbers in.
"""

from __future__ import annotations

import functools
import importlib.resources
from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from ledger.conformity.requirement import Provenance
from ledger.conformity.toml_text import check_word, read_toml
from ledger.errors import LedgerError, MalformedRulebook
from ledger.line.quantity import QUANTITIES, find_quantity


class Item(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing wanted.

    ``balls``: how many sample balls; of each weight class where ``classes`` (nominal pounds) names some.  Without it the
    number is not known, and the plant states it.  ``quantities``: what is measured on each of them; of a component where
    it is a component's quantity.  ``documents``: names of the papers that go with it.
    """

    id: str
    text: str
    balls: Annotated[int, Meta(ge=1, le=1000)] | None = None
    quantities: tuple[str, ...] = ()
    classes: tuple[Annotated[int, Meta(ge=4, le=16)], ...] = ()
    documents: tuple[str, ...] = ()
    provenance: Provenance
    source: str
    section: str = ""
    note: str = ""

    @property
    def of_balls(self) -> bool:
        """Whether it is about sample balls."""
        return self.balls is not None or bool(self.classes or self.quantities)


class Checklist(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One checklist of a body."""

    format: Literal[1]
    id: str
    body: str
    title: str
    item: tuple[Item, ...]
    note: str = ""

    @property
    def items(self) -> tuple[Item, ...]:
        """The items in the order of the file."""
        return self.item


class SampleBall(msgspec.Struct, frozen=True, kw_only=True):
    """A ball that is to be submitted: its nominal class in pounds, and the quantities measured on it or its components."""

    ball: str
    weight_class: int
    quantities: frozenset[str] = frozenset()


class OpenItem(msgspec.Struct, frozen=True, kw_only=True):
    """An item of a checklist that is not met, with everything that is missing, each in a sentence."""

    item: str
    missing: tuple[str, ...]


def parse_checklist(text: bytes | str, where: str = "checklist") -> Checklist:
    """A checklist that keeps its schema, from the text of a file.

    Raises MalformedRulebook, whose ``where`` adds the line when it can be told: what ``read_toml`` refuses, unknown
    quantities, repeated ids, empty texts and sources, and items that want nothing.
    """
    checklist, lines = read_toml(text, Checklist, where, "item")
    check_word(checklist.id, lines.head_place("id"))
    if not checklist.items:
        raise MalformedRulebook("checklist has no item", expected="at least one", where=where)
    seen: set[str] = set()
    for number, item in enumerate(checklist.items):
        try:
            _check_item(item, seen)
        except MalformedRulebook as error:
            raise MalformedRulebook(
                error.problem,
                expected=error.expected,
                got=error.got,
                where=lines.place(number, error.where),
                mend=error.mend,
            ) from error
        seen.add(item.id)
    return checklist


@functools.cache
def shipped_checklists() -> Mapping[str, Checklist]:
    """The checklists that ship, by id. Read once from the package."""
    folder = importlib.resources.files("ledger.conformity").joinpath("checklists")
    files = sorted((file for file in folder.iterdir() if file.name.endswith(".toml")), key=lambda file: file.name)
    read = (parse_checklist(file.read_bytes(), file.name) for file in files)
    return MappingProxyType({checklist.id: checklist for checklist in read})


def open_items(
    checklist: Checklist, samples: Sequence[SampleBall], documents: Collection[str] = ()
) -> tuple[OpenItem, ...]:
    """The items that the samples and papers at hand do not meet, in the checklist's order."""
    found = ((item, _missing(item, samples, documents)) for item in checklist.items)
    return tuple(OpenItem(item=item.id, missing=missing) for item, missing in found if missing)


def _missing(item: Item, samples: Sequence[SampleBall], documents: Collection[str]) -> tuple[str, ...]:
    missing = [f"{name} is missing" for name in item.documents if name not in documents]
    if item.of_balls:
        if item.balls is None:
            missing.append("how many balls are wanted is not stated: write the number into the plant's own checklist")
        for weight_class in item.classes or (None,):
            missing += _missing_balls(item, samples, weight_class)
    return tuple(missing)


def _missing_balls(item: Item, samples: Sequence[SampleBall], weight_class: int | None) -> list[str]:
    of = "" if weight_class is None else f" of {weight_class} lb"
    balls = [ball for ball in samples if weight_class in (None, ball.weight_class)]
    whole = [ball for ball in balls if ball.quantities.issuperset(item.quantities)]
    wanted = item.balls or 1
    if len(whole) >= wanted:
        return []
    if len(balls) < wanted:
        return [f"balls{of}: {wanted} wanted, {len(balls)} there"]
    return [
        f"ball {ball.ball}{of}: {QUANTITIES[name].name} is not measured"
        for ball in balls
        for name in item.quantities
        if name not in ball.quantities
    ]


def _check_item(item: Item, seen: Collection[str]) -> None:
    check_word(item.id, "id")
    if item.id in seen:
        raise MalformedRulebook("item id is used twice", got=item.id, where="id")
    for field in ("text", "source"):
        if not getattr(item, field).strip():
            raise MalformedRulebook(f"{field} is empty", where=field)
    if not item.of_balls and not item.documents:
        raise MalformedRulebook(
            "item wants nothing", expected="balls, classes, quantities or documents", got=item.id, where="id"
        )
    for field in ("quantities", "classes", "documents"):
        values = getattr(item, field)
        if len(set(values)) != len(values):
            raise MalformedRulebook(f"one of the {field} stands twice", got=list(values), where=field)
    for name in item.quantities:
        try:
            find_quantity(name)
        except LedgerError as error:
            raise MalformedRulebook(
                error.problem, expected=error.expected, got=error.got, where="quantities"
            ) from error
    if not all(name.strip() for name in item.documents):
        raise MalformedRulebook("a document has no name", where="documents")
