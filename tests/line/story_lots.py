"""The second fold's story of lots: their accounts, what they are made of, their samples, logs and finish."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from ledger.book.instant import instant_ms
from ledger.line.fact import Fact
from tests.line.told_words import LEFT


class LotStory:
    """What is told of lots."""

    def __init__(self) -> None:
        super().__init__()
        self.lots: dict[str, dict[str, Any]] = {}
        self.drawn: defaultdict[str, int] = defaultdict(int)
        self.lost: defaultdict[str, int] = defaultdict(int)
        self.edges: list[tuple[str, str, int]] = []
        self.counts: defaultdict[str, list[tuple[str, int]]] = defaultdict(list)
        self.takes: dict[str, list[tuple[str, int]]] = {}
        self.logged: dict[str, tuple[Any, ...]] = {}
        self.finishes: dict[str, tuple[str | None, int]] = {}

    def surfaces(self, fact: Fact, record: dict[str, Any]) -> None:
        """How a lot or a ball is finished: by the latest step or rework; heirs begin as what they are made of was."""
        step = LEFT.get(record["operation"]) if record["kind"] == "rework" else record.get("step")
        if record["kind"] in {"lot-split", "lots-merged"}:
            parents = {lot for lot, _ in self.takes[fact.address]}
            known = [self.finishes.get(f"lot:{lot}", (None, 0)) for lot in parents]
            same = known[0][0] if len({finish for finish, _ in known}) == 1 else None
            self.finishes[f"lot:{record['into']}"] = same, 0
        elif step in {"sanded", "polished", "unstated"}:
            name = f"unit:{record['unit']}" if "unit" in record else f"lot:{record['lot']}"
            if fact.at_ms >= self.finishes.get(name, (None, 0))[1]:
                self.finishes[name] = step, fact.at_ms

    def make_lot(self, fact: Fact, record: dict[str, Any]) -> None:
        """A lot as it was made, and what was taken for it."""
        kind = record["kind"]
        if kind == "lot-split":
            takes, name = [(record["lot"], record["count"])], record["into"]
        elif kind == "lots-merged":
            takes, name = [(part["lot"], part["count"]) for part in record["lots"]], record["into"]
        else:
            takes, name = list(_takes(record)), record.get("lot") or record["batch"]
        made = sum(amount for _, amount in takes) if kind in {"batch-mixed", "lot-split", "lots-merged"} else 0
        made = _grams(record["kg"]) if kind == "material-received" else made or record.get("count", 0)
        self.lots[name] = {"made": made, "maker": fact.address}
        self.takes[fact.address] = takes
        for parent, amount in takes:
            self.drawn[parent] += amount
            self.edges.append((name, parent, amount))

    def _pieces_lost(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.lost[record["lot"]] += record["count"]
        self.counts[record["lot"]].append(("less", record["count"]))

    def _lot_recounted(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.counts[record["lot"]].append(("left", record["left"]))

    def left(self, lot: str) -> int:
        """What is left of a lot by its own history: taken from, and counted again."""
        left: int = self.lots[lot]["made"]
        for what, amount in self.counts[lot]:
            left = amount if what == "left" else left - amount
        return left

    def _temperature_logged(self, fact: Fact, record: dict[str, Any]) -> None:
        told = record["summary"]
        degrees = [_millionths(told.get(f"{what}_c")) for what in ("coldest", "warmest", "mean")]
        instants = [instant_ms(told[f"{end}_at"]) for end in ("first", "last")]
        gaps = told["gap_limit_s"], told.get("gap_count", 0), told["longest_ms"]
        file = record["digest"], record["length"], told["readings"]
        self.logged[fact.address] = (record["lot"], record["stage"], *file, *instants, *degrees, *gaps)

    def _lot_closed(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.lots[record["lot"]]["closed"] = True


def _millionths(degrees: str | None) -> int | None:
    return None if degrees is None else int(Decimal(degrees) * 10**6)


def _grams(kg: str) -> int:
    return int(Decimal(kg) * 1000)


def _takes(record: dict[str, Any]) -> Iterable[tuple[str, int]]:
    yield from ((own["lot"], own["amount"]) for own in record.get("from_lots", ()))
    for pieces in (record.get("blocks", ()), record.get("cores", ())):
        yield from ((piece["lot"], piece["count"]) for piece in pieces)
    for weighed in (record.get("draws", ()), record.get("batches", ()), record.get("colours", ())):
        yield from ((draw["lot"], _grams(draw["kg"])) for draw in weighed)
