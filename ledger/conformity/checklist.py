"""A checklist: what a body wants to see when a model is submitted to it, as a TOML file of a plant or one that ships.

The file has ``format = 1``, ``id``, ``body``, ``title``, ``note``, ``proportion_points`` and one ``[[item]]`` table for
each thing wanted (fields of `Item`).  Unknown keys are refused.  A checklist is known by the SHA-256 of its file's bytes.
What of it a file meets is worked out in `completeness`.

What a body asks for in numbers was not read anywhere, so the one that ships leaves them open: a plant copies it, gives it
an id of its own and writes the numbers in.
"""

from __future__ import annotations

import functools
import importlib.resources
from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from ledger.conformity.requirement import Provenance
from ledger.conformity.toml_text import check_word, read_toml
from ledger.errors import LedgerError, MalformedRulebook
from ledger.line.quantity import OF_COMPONENTS, find_quantity

Pounds = Annotated[int, Meta(ge=4, le=16)]
Balls = Annotated[int, Meta(ge=1, le=1000)]


LONGEST_NAME = 80
"""Characters of a name by which an answer is given."""


class Item(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing wanted.

    ``balls``: how many sample balls; of each weight class where ``classes`` (nominal pounds) names some, or where
    ``each_class`` says so of each that is applied for.  ``balls_of``: the number for one class, by its pounds, in the place
    of ``balls``.  Without a number it is not known, and the plant states it.  ``quantities``: what is measured on each of
    these balls.  ``core``: an item for models of that core alone.
    ``documents``: names of the papers that go with it; ``photos``: names of pictures, one of each, or of each of its balls
    where ``photos_of`` says ``ball``; ``fields``: names in the data sheet; ``statement``: what is stated in words.
    """

    id: str
    text: str
    balls: Balls | None = None
    balls_of: dict[str, Balls] = {}
    classes: tuple[Pounds, ...] = ()
    each_class: bool = False
    quantities: tuple[str, ...] = ()
    core: Literal["symmetric", "asymmetric"] | None = None
    documents: tuple[str, ...] = ()
    photos: tuple[str, ...] = ()
    photos_of: Literal["file", "ball"] = "file"
    fields: tuple[str, ...] = ()
    statement: str = ""
    provenance: Provenance
    source: str
    section: str = ""
    note: str = ""

    @property
    def of_balls(self) -> bool:
        """Whether it is about sample balls."""
        photos = bool(self.photos) and self.photos_of == "ball"
        return (
            self.balls is not None
            or bool(self.classes or self.quantities or self.balls_of)
            or self.each_class
            or photos
        )

    def wanted(self, weight_class: int | None) -> int | None:
        """How many balls of a class are wanted, of all classes together for None; None where nobody stated it."""
        return self.balls if weight_class is None else self.balls_of.get(str(weight_class), self.balls)


class Checklist(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One checklist of a body.

    ``proportion_points``: by how many percentage points the share of a material in a mix may differ from those of the
    samples' mixes before it counts as a change to be reported; without it, shares are not compared.
    """

    format: Literal[1]
    id: str
    body: str
    title: str
    item: tuple[Item, ...]
    note: str = ""
    proportion_points: Annotated[int, Meta(ge=0, le=100)] | None = None

    @property
    def items(self) -> tuple[Item, ...]:
        """The items in the order of the file."""
        return self.item


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


def _check_item(item: Item, seen: Collection[str]) -> None:
    check_word(item.id, "id")
    if item.id in seen:
        raise MalformedRulebook("item id is used twice", got=item.id, where="id")
    for field in ("text", "source"):
        if not getattr(item, field).strip():
            raise MalformedRulebook(f"{field} is empty", where=field)
    if not (item.of_balls or item.documents or item.photos or item.fields or item.statement):
        raise MalformedRulebook(
            "item wants nothing",
            expected="balls, classes, quantities, documents, photos, fields or statement",
            got=item.id,
            where="id",
        )
    _check_balls(item)
    for field in ("quantities", "classes", "documents", "photos", "fields"):
        values = getattr(item, field)
        if len(set(values)) != len(values):
            raise MalformedRulebook(f"one of the {field} stands twice", got=list(values), where=field)
    for field in ("documents", "photos", "fields"):
        if not all(0 < len(name.strip()) <= LONGEST_NAME for name in getattr(item, field)):
            raise MalformedRulebook(
                f"one of the {field} has no name", expected=f"1 to {LONGEST_NAME} characters", where=field
            )
    for name in item.quantities:
        _check_quantity(name)


def _check_balls(item: Item) -> None:
    if item.each_class and item.classes:
        raise MalformedRulebook(
            "item names classes, and every class too", expected="classes or each_class", where="each_class"
        )
    known = {str(pounds) for pounds in (item.classes or range(4, 17))}
    for pounds in item.balls_of:
        if pounds not in known or not (item.classes or item.each_class):
            raise MalformedRulebook(
                f"balls of a class that the item does not ask for: {pounds}",
                expected="a class of classes, or any with each_class = true",
                where="balls_of",
            )


def _check_quantity(name: str) -> None:
    try:
        find_quantity(name)
    except LedgerError as error:
        raise MalformedRulebook(error.problem, expected=error.expected, got=error.got, where="quantities") from error
    if name in OF_COMPONENTS:
        raise MalformedRulebook(
            f"no ball is measured for {name}",
            expected="a quantity of balls",
            got=name,
            where="quantities",
            mend="ask for what was measured on components as a document",
        )
