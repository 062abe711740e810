"""What the forms let one choose from: models, rulebooks, gauges, quantities. Few rows, whatever the number of balls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, get_args

from ledger.application.adopted_files import rulebooks_here
from ledger.application.process_groups import By
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import RulebookFile
from ledger.line.quantity import OF_COMPONENTS, QUANTITIES
from ledger.line.reading_rows import Gauge
from ledger.line.rows import Model
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

STATES = ("made", "engraved", "released", "shipped", "returned", "reworked", "scrapped", "destroyed", "retained")
CLASSES = range(4, 17)
BY: tuple[str, ...] = get_args(By)
OF_BALLS = tuple(name for name in QUANTITIES if name not in OF_COMPONENTS)

FIXED: Mapping[str, Any] = {"states": STATES, "classes": CLASSES, "ways": BY, "quantities": OF_BALLS}
"""The choices that are the same in every plant, by their names in the templates."""


class Edition(NamedTuple):
    """A rulebook to choose: ``adopted`` where the plant judges by this very edition."""

    id: str
    digest: str
    title: str
    edition: str
    adopted: bool


class Options(NamedTuple):
    """The choices, each in the order in which it is shown; adopted rulebooks stand first."""

    models: Sequence[Model]
    rulebooks: Sequence[Edition]
    gauges: Sequence[Gauge]

    @property
    def usual_rulebook(self) -> str:
        """The one that a form begins with: the first that is adopted, else the last by name."""
        first, last = self.rulebooks[0], self.rulebooks[-1]
        return first.id if first.adopted else last.id

    def another_than(self, rulebook: str) -> str:
        """One to hold it against: the first other."""
        return next((one.id for one in self.rulebooks if one.id != rulebook), rulebook)


def read_options(store: Store) -> Options:
    """Every choice. Four queries of few rows."""
    with open_reader(store) as reader:
        here = rulebooks_here(reader)
        editions = [edition_of(file, here.adopted) for file in here.editions]
        return Options(
            models=every_row(reader.transaction, Model),
            rulebooks=sorted(editions, key=lambda one: (not one.adopted, one.id)),
            gauges=every_row(reader.transaction, Gauge),
        )


def read_requirements(store: Store, digest: str) -> dict[str, Requirement]:
    """The requirements of an edition by id, in its order. Raises NotFound."""
    with open_reader(store) as reader:
        found = rulebooks_here(reader).find(digest)
    return {one.id: one for one in found.rulebook.requirements}


def edition_of(file: RulebookFile, adopted: Mapping[str, str]) -> Edition:
    """A file as a choice."""
    book = file.rulebook
    return Edition(book.id, file.digest, book.title, book.edition, adopted.get(book.id) == file.digest)
