"""What figures of the process have in common: what is asked, one pass over the readings, and the limits of each group.

Readings are those that stand and may be used, told apart by mould set, station or lot where that is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple

from ledger.application.adopted_files import find_rulebook
from ledger.application.process_groups import By
from ledger.application.process_limits import Combination, Limits, LimitsSeen
from ledger.application.process_readings import ProcessReadings, Taken
from ledger.errors import MalformedInput, NotFound
from ledger.line.quantity import QUANTITIES, UNITS
from ledger.store.reader import Reader
from ledger.store.selections import Selection

Subgroups = Literal["none", "lot", "day"]


class FiguresAsked(NamedTuple):
    """What is asked for. ``rulebook``: an id or digest, whose limits and unit are taken; ``group``: this group alone.

    ``weight_class``: balls of this nominal class alone, in pounds; weights and radii of several make no one process.
    """

    quantity: str
    selection: Selection
    by: By = "none"
    rulebook: str | None = None
    subgroups: Subgroups = "none"
    group: str | None = None
    weight_class: int | None = None


class _Held:
    """The limits of a group's readings: how many fall under which, and those of the newest."""

    def __init__(self) -> None:
        self.counts: Counter[Combination] = Counter()
        self.newest: tuple[int, Combination] = (-(2**62), ())

    def take(self, at_ms: int, held: Combination) -> None:
        self.counts[held] += 1
        self.newest = max(self.newest, (at_ms, held))


class Gathered:
    """One pass over the readings, and the limits of each group that it came by."""

    def __init__(self, reader: Reader, asked: FiguresAsked) -> None:
        """Raises NotFound for an unknown rulebook, MalformedQuantity for an unknown quantity."""
        edition = None if asked.rulebook is None else find_rulebook(reader, asked.rulebook)
        self._limits = None if edition is None else Limits(reader, edition, asked.quantity)
        self.readings = ProcessReadings(
            reader,
            asked.selection,
            asked.quantity,
            by=asked.by,
            unit="" if self._limits is None else self._limits.unit,
            weight_class=asked.weight_class,
        )
        self._only = asked.group
        self._held: dict[str, _Held] = {}

    def chunks(self) -> Iterable[list[Taken]]:
        """The readings of the groups asked for, in unit order; once. Raises TooLarge."""
        for chunk in self.readings.chunks():
            taken = [one for one in chunk if self._only in (None, one.group)]
            held = [()] * len(taken) if self._limits is None else self._limits.of(taken)
            for one, combination in zip(taken, held, strict=True):
                self._held.setdefault(one.group, _Held()).take(one.at_ms, combination)
            yield taken

    def limits(self, group: str) -> LimitsSeen | None:
        """The limits of the newest reading of a group; None where no rulebook is named, or it has none for it."""
        held = self._held[group]
        if self._limits is None or not held.newest[1]:
            return None
        return self._limits.seen(held.newest[1], held.counts, self.readings.unit)


def check_some(left_out: Sequence[str], asked: FiguresAsked, readings: ProcessReadings) -> None:
    """Check that some group has a figure. Raises NotFound saying why the first has none."""
    if all(left_out):
        why = left_out[0] if left_out else "there is none"
        unusable = f", and {readings.left_out} that may not be used" if readings.left_out else ""
        raise NotFound(
            f"too few readings of {asked.quantity}: {why}",
            got=f"{readings.statistics.total()} usable{unusable}",
            where="group" if asked.group else "quantity",
            mend="choose more days, another model or lot, or measure more balls",
        )


def classes_of(readings: ProcessReadings) -> dict[str, int]:
    """Readings by nominal class, in pounds; "none" where a ball has no class."""
    counted = {"none" if pounds is None else str(pounds): count for pounds, count in readings.weight_classes.items()}
    return dict(sorted(counted.items()))


def only_group(groups: Sequence[str]) -> str:
    """The one group that a picture shows: points of several have no axis in common. Raises MalformedInput."""
    if len(groups) > 1:
        raise MalformedInput(
            "picture shows one group",
            expected="group",
            got=f"{len(groups)} groups",
            where="group",
            mend=f"name one of them with group, such as {groups[0]}; the figures have all",
        )
    return groups[0]


def printed_unit(gathered: Gathered) -> str:
    """The unit of the readings, as printed."""
    return UNITS[gathered.readings.unit].printed


def title_of(asked: FiguresAsked, group: str) -> str:
    """Quantity, and whose: "hardness, model M1, mould MS-1"."""
    named = [QUANTITIES[asked.quantity].name]
    if asked.selection.model is not None:
        named.append(f"model {asked.selection.model}")
    if asked.selection.lot is not None:
        named.append(f"lot {asked.selection.lot}")
    if asked.weight_class is not None:
        named.append(f"{asked.weight_class} lb")
    if asked.by != "none" and group:
        named.append(f"{asked.by} {group}")
    return ", ".join(named)
