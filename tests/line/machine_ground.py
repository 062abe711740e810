"""The ground of the random plant: what it begins with, how it says things, and what must hold after every step.

The rules that say things lie beside it by what they are about (`machine_lots`, `machine_balls`, `machine_office`,
`machine_changes`); `test_plant_machine` puts them together.
"""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from ledger.book.instant import Instant, format_instant
from ledger.errors import LedgerError
from ledger.line.lots import left_of
from ledger.line.process_plan import Inspect, Window
from ledger.line.record import Record
from ledger.line.rows import Descent, Hold, Lot, Unit
from tests.line.independent_fold import check_views
from tests.line.making import (
    DAY,
    WINDOWS,
    allot,
    at,
    blocks,
    cores,
    engraving,
    gauge,
    model,
    plan,
    released_ball,
    shells,
    stocked_plant,
)
from tests.strategies import FIRST_MS

AUTHORS = st.sampled_from(["a-mary", "a-john"])
COUNTS, STEPS = st.integers(1, 6), ["turned", "sanded", "polished"]
LOW_STAGES = ("block", "core", "shell")
GAUGES = ("G-MASS", "G-HARD", "G-SPARE")
DIGESTS = tuple(letter * 64 for letter in "aef")
"""Of invented files; the first is the rulebook that the plan names."""
RULEBOOKS, CHECKLISTS = ("body-a", "body-b"), ("list-a", "list-b")

WARM = tuple(
    msgspec.structs.replace(window, low_c="18", high_c="27", gap_s=3_600) if window.stage.endswith("st") else window
    for window in (*WINDOWS[:-1], Window(stage="final-cure", min_s=DAY, high_c="25"))
)
"""The plan's windows, with a temperature of each rest and of the cure."""


class PlantGround(RuleBasedStateMachine):
    """One plant; time goes on by whole hours."""

    @initialize()
    def ready(self) -> None:
        """Model, plan, gauges and batches are there, and six pieces at every stage, one of them a released ball."""
        self.plant = stocked_plant(count=6)
        released_ball(self.plant, "U-A")
        for unit in ("U-B", "U-C"):
            self.plant.submit(engraving(unit, allot(self.plant)[0]))
        self.plant.submit(blocks("BL-8", 9), blocks("BL-9", 9), cores("CL-8", ("BL-8", 5)), cores("CL-9", ("BL-9", 5)))
        self.plant.submit(shells("SL-8", ("CL-8", 3)))
        once = (Inspect(quantity="hardness", every="model", n=5, accept=1),)
        self.plant.submit(model(model="NOVA", gtin="09521234000020"), plan(model="NOVA", inspect=once))
        self.plant.submit(*gauge("G-SPARE", "mass", "lb"), plan(at=at(12), windows=WARM))
        self.hour = 24 * 11
        self.names = 0

    def now(self) -> str:
        """The instant of this step."""
        return format_instant(Instant(FIRST_MS + self.hour * 3_600_000))

    def fresh(self, prefix: str) -> str:
        """An id that was not used."""
        self.names += 1
        return f"{prefix}-{self.names}"

    def rows(self, row: Any) -> list[Any]:
        """All rows of a view, in key order."""
        return [held for _, held in sorted(self.plant.tables.rows[row].items())]

    def lots(self, *stages: str) -> list[str]:
        """The lots of these stages."""
        return [lot.lot for lot in self.rows(Lot) if lot.stage in stages]

    def pick(self, data: st.DataObject, names: list[str]) -> str:
        """One of the names; sometimes one that the book does not know."""
        return data.draw(st.sampled_from([*names, *names, *names, "NONE"]))

    def say(self, *records: Record, author: str = "a-mary") -> bool:
        """Submit; whether it was entered. What is refused changes nothing, and only this project's errors refuse."""
        before = self.plant.tables.listed()
        try:
            self.plant.submit(*records, author=author)
        except LedgerError:
            assert before == self.plant.tables.listed()
            return False
        return True

    @rule(hours=st.integers(1, 30))
    def wait(self, hours: int) -> None:
        """Time goes on."""
        self.hour += hours

    def stopped(self, unit: Unit) -> bool:
        """Whether an open hold that stops release is on the ball, on a lot above it, or fits one by its rule's stage."""
        above, waiting = set[str](), [unit.lot]
        while waiting:
            lot = waiting.pop()
            above.add(lot)
            waiting += [edge.parent for edge in self.rows(Descent) if edge.child == lot and edge.parent not in above]
        nodes = {f"unit:{unit.unit}", *(f"lot:{lot}" for lot in above)}
        stages = {f'{{"stage":"{self.plant.row(Lot, lot).stage}"}}' for lot in above}
        return any(
            hold.open and "release" in hold.stops.split(",") and (hold.node in nodes or hold.rule in stages)
            for hold in self.rows(Hold)
        )

    @invariant()
    def accounts_add_up(self) -> None:
        """What a lot gave is what its children and its balls took; what is left is the rest."""
        taken: dict[str, int] = {}
        for edge in self.rows(Descent):
            taken[edge.parent] = taken.get(edge.parent, 0) + edge.amount
        for unit in self.rows(Unit):
            taken[unit.lot] = taken.get(unit.lot, 0) + 1
        lots = {lot.lot: lot for lot in self.rows(Lot)}
        assert taken.keys() <= lots.keys()
        for name, lot in lots.items():
            assert (taken.get(name, 0), lot.made + lot.adjusted - lot.used - lot.lost) == (lot.used, left_of(lot))

    def teardown(self) -> None:
        """At the end all ways to fold the book agree."""
        if hasattr(self, "plant"):
            check_views(self.plant)
