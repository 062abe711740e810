"""Which entries a dossier needs."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from ledger.evidence.needed_entries import needed_indexes, sheet_nodes
from ledger.line.kinds import PLAIN_KIND_OF
from tests.evidence.small_dossier import ball_rows, book, standing_facts


class BookIndex:
    """The facts of the little book."""

    def about(self, nodes: Collection[str]) -> Iterable[str]:
        """Addresses of the standing facts about the nodes."""
        facts = standing_facts(book()).items()
        return [name for name, fact in facts if {*PLAIN_KIND_OF[type(fact.record)].about(fact.record)} & {*nodes}]

    def bodies_in(self, indexes: Collection[int]) -> Iterable[str]:
        """Where corrected facts of the entries stand now."""
        return [fact.body for fact in standing_facts(book()).values() if fact.body and fact.index in indexes]

    def erasures_in(self, indexes: Collection[int]) -> Iterable[str]:
        """The erasure of the note about a person."""
        return ["12.0"] if 2 in indexes else []


def test_a_ball_rests_on_its_lots_model_and_gauges() -> None:
    """Everything above the ball, and what measured it."""
    lots = {f"lot:{lot}" for lot in ("S1", "C1", "C2", "B1", "K1", "M1")}
    assert {"unit:U-1", "model:ROC", "gauge:G-MASS", "gauge:G-HARD", *lots} == sheet_nodes(ball_rows("U-1"))


def test_corrections_are_taken_in() -> None:
    """The entry that corrects a fact comes along with it; entries about nothing of the ball stay out."""
    nodes = {*sheet_nodes(ball_rows("U-2")), "key:books.example/plant-1/dossier"}
    assert [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12] == needed_indexes(BookIndex(), nodes)
    assert [0, 9, 11] == needed_indexes(BookIndex(), {"unit:U-2"})
    assert [0, 8] == needed_indexes(BookIndex(), {"unit:U-1"})
