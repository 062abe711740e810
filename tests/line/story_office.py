"""The second fold's story of the plant: its gauges, limits and policies, adopted files, and what was erased or judged."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from ledger.book.instant import instant_ms
from ledger.line.fact import Fact
from ledger.line.vocabulary import KIND_OF

Said = list[tuple[Fact, dict[str, Any]]]
"""Standing facts and their JSON, in address order."""


class OfficeStory:
    """What is told of models and gauges."""

    def __init__(self) -> None:
        super().__init__()
        self.revisions: dict[str, int] = {}
        self.judged: dict[str, tuple[Any, ...]] = {}
        self.gauges: dict[str, list[Any]] = {}
        self.calibrated: dict[str, tuple[Any, ...]] = {}
        self.studied: dict[str, tuple[Any, ...]] = {}

    def _sample_judged(self, fact: Fact, record: dict[str, Any]) -> None:
        self.judged[fact.address] = (record["lot"], record["quantity"], record["accepted"])

    def _model_defined(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.revisions[record["model"]] = record["revision"]

    def _model_judged(self, fact: Fact, record: dict[str, Any]) -> None:
        revision = record.get("revision", self.revisions[record["model"]])
        self.judged[fact.address] = (record["model"], revision, record["quantity"], record["accepted"])

    def register_gauge(self, record: dict[str, Any]) -> None:
        """A gauge as it was registered: the facts about it may stand before, where a correction moved them there."""
        range_of = [
            None if (end := record.get(name)) is None else int(Decimal(end) * 10**6) for name in ("low", "high")
        ]
        self.gauges[record["gauge"]] = [record["quantity"], record["unit"], *range_of, "registered"]

    def _gauge_calibrated(self, fact: Fact, record: dict[str, Any]) -> None:
        self.gauges[record["gauge"]][-1] = "calibrated"
        ends = fact.at_ms, instant_ms(record["due_at"])
        self.calibrated[fact.address] = (record["gauge"], "calibration", record["as_found_good"], *ends)

    def _gauge_checked(self, fact: Fact, record: dict[str, Any]) -> None:
        self.calibrated[fact.address] = (record["gauge"], "check", record["good"], fact.at_ms, fact.at_ms)

    def _gauge_faulted(self, fact: Fact, record: dict[str, Any]) -> None:
        self.gauges[record["gauge"]][-1] = "faulty"
        self.calibrated[fact.address] = (record["gauge"], "fault", False, fact.at_ms, fact.at_ms)

    def _gauge_studied(self, fact: Fact, record: dict[str, Any]) -> None:
        counts = len(record["operators"]), record["trials"], len(record["parts"])
        scatter = _scatter(record["readings"]) if not record["pooled"] else None
        head = record["gauge"], record["unit"], fact.at_ms
        self.studied[fact.address] = (*head, *counts, record["pooled"], scatter)


def _scatter(readings: list[list[list[str]]]) -> int:
    """The repeatability of a study that pools nothing, in millionths: the spread of each cell about its own mean."""
    cells = [
        [Decimal(trial[part]) * 10**6 for trial in operator]
        for operator in readings
        for part in range(len(operator[0]))
    ]
    means = [sum(cell, Decimal(0)) / len(cell) for cell in cells]
    squares = [(value - mean) ** 2 for cell, mean in zip(cells, means, strict=True) for value in cell]
    return round((sum(squares, Decimal(0)) / sum(len(cell) - 1 for cell in cells)).sqrt())


def of_kind(said: Said, *kinds: str) -> Said:
    """What was said of these kinds."""
    return [(fact, record) for fact, record in said if record["kind"] in kinds]


def marks(said: Said) -> dict[str, tuple[bool, bool]]:
    """Late and doubtful of every fact, each fact by the limits that were stated in an entry before its own."""
    found: dict[str, tuple[bool, bool]] = {}
    late_s, doubtful_s = 3600, 120
    stated = late_s, doubtful_s
    entry = -1
    for fact, record in said:
        if fact.index != entry:
            entry, (late_s, doubtful_s) = fact.index, stated
        if record["kind"] == "plant-rules-set":
            stated = record.get("late_s", 3600), record.get("doubtful_s", 120)
        behind = (fact.recorded_ms - instant_ms(record["at"])) / 1000
        off = record.get("clock_error_s", 0)
        late = behind > late_s and KIND_OF[type(fact.record)].sort == "report"
        found[fact.address] = late, off > doubtful_s or (not fact.body and -behind > max(off, doubtful_s))
    return found


def limits(said: Said) -> dict[int, tuple[int, int, int, str]]:
    """The plant's limits by the entry from which on they hold; of several stated in one the last."""
    return {
        fact.index + 1: (
            record.get("late_s", 3600) * 1000,
            record.get("doubtful_s", 120) * 1000,
            int(Decimal(record.get("density_cap", "3.80")) * 10**6),
            fact.address,
        )
        for fact, record in of_kind(said, "plant-rules-set")
    }


def policies(said: Said) -> dict[str, tuple[Any, ...]]:
    """Every release policy: its rules, whether the house's answer is needed, and who may release what is undecided."""
    return {
        fact.address: (
            fact.index + 1,
            record["decision"],
            record.get("guard_r", "1"),
            {one["quantity"]: [one["decision"], one.get("guard_r", "1")] for one in record.get("quantities", ())},
            record.get("house", "shown"),
            list(record.get("undecided_by", ())),
        )
        for fact, record in of_kind(said, "release-policy-set")
    }


def adopted(said: Said, sort: str) -> dict[str, tuple[str, int, bool]]:
    """Every file that was adopted as a ``rulebook`` or a ``checklist``: its name, when, and whether it is superseded."""
    last: dict[str, str] = {}
    files: dict[str, tuple[str, int]] = {}
    for fact, record in of_kind(said, f"{sort}-adopted"):
        last[record[sort]] = record["digest"]
        files[record["digest"]] = record[sort], fact.at_ms
    return {digest: (name, at_ms, last[name] != digest) for digest, (name, at_ms) in files.items()}


def erased(said: Said) -> dict[str, tuple[str, str]]:
    """Every sealed field and every name that was erased: what of, and by which fact."""
    fields = {
        f"{record['entry']}/{path}": (f"{record['entry']}.{path.split('/')[0]}", fact.address)
        for fact, record in of_kind(said, "erasure")
        for path in record["fields"]
    }
    names = {record["account"]: ("account", fact.address) for fact, record in of_kind(said, "name-erasure")}
    return fields | names
