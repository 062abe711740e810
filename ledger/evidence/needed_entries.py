"""Which entries a dossier must hold for its sheets to follow from it.

For each ball: every entry with a fact about it, about its lots all the way up, its model and the gauges that read it,
and every release policy of the plant, of which the newest states the rule of the house.
Besides: entry 0 and what introduces keys, which the caller names. And for every entry that is in, the entries that
correct a fact in it now, without which a reader would fold what no longer stands, and those that erased a field of it,
without which an erased field could not be told from one whose opening was left out.

Pure: where facts are looked up is an argument.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Protocol

from ledger.evidence.ball_sheet import BallRows
from ledger.line.release_policy import POLICY_NODE
from ledger.line.standing_readings import gauges_of


class FactIndex(Protocol):
    """Where facts are found. Each method is called with many at once."""

    def about(self, nodes: Collection[str]) -> Iterable[str]:
        """Addresses of the facts about the nodes."""
        ...

    def bodies_in(self, indexes: Collection[int]) -> Iterable[str]:
        """For the facts said in these entries: where the body stands, of those that were corrected or withdrawn."""
        ...

    def erasures_in(self, indexes: Collection[int]) -> Iterable[str]:
        """Addresses of the facts that erased something said in these entries."""
        ...


def sheet_nodes(rows: BallRows) -> set[str]:
    """The nodes whose facts a ball's sheet rests on."""
    lots = [rows.unit.lot, *(one.lot for one in rows.trace.ancestors)]
    nodes = {f"unit:{rows.unit.unit}", f"model:{rows.model.model}"}
    nodes.update(f"lot:{lot}" for lot in lots)
    nodes.update(f"gauge:{gauge}" for gauge in gauges_of(rows.measured))
    if rows.policy is not None:
        nodes.add(POLICY_NODE)
    return nodes


def needed_indexes(facts: FactIndex, nodes: Collection[str]) -> list[int]:
    """The indexes of the entries with facts about the nodes, of what corrects or erases them, and of entry 0, ascending."""
    found = {0, *(_index(address) for address in facts.about(nodes))}
    waiting: set[int] = found
    while waiting:
        later = [*facts.bodies_in(waiting), *facts.erasures_in(waiting)]
        waiting = {_index(address) for address in later} - found
        found = found | waiting
    return sorted(found)


def _index(address: str) -> int:
    return int(address.partition(".")[0])
