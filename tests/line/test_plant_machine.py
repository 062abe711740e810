"""Random plants: pours, splits, holds, releases, corrections of whatever was said, and submissions that must be refused.

After every step the accounts add up; at the end the live rows equal a rebuild, a fold of every node anew, and the
independent fold.  A release that was entered had no stopping hold above it.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from ledger.book.instant import Instant, format_instant
from ledger.errors import LedgerError
from ledger.line.balls import BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplaced
from ledger.line.corrections import Change, Correction, Recheck
from ledger.line.gauges import GaugeCalibrated, GaugeChecked, GaugeFaulted
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.inspections import Inspection
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.lineage import HoldRule
from ledger.line.lot_changes import (
    LotClosed,
    LotRecounted,
    LotsMerged,
    LotSplit,
    LotWorked,
    PartOfLot,
    PiecesLost,
    balls_root,
)
from ledger.line.lots import left_of
from ledger.line.materials import OwnLot
from ledger.line.plant_rules import PlantRulesSet
from ledger.line.process_plan import Inspect
from ledger.line.record import Record
from ledger.line.releases import Basis, Regrade, Rework, Scrap
from ledger.line.rows import Claim, Descent, Hold, Lot, Model, Unit
from ledger.line.shipments import Restocked, Returned, Shipment
from tests.line.independent_fold import check_views
from tests.line.making import (
    RULEBOOK,
    allot,
    batch,
    blocks,
    cores,
    engraving,
    inspection,
    material,
    model,
    plan,
    reading,
    release,
    released_ball,
    sample,
    shells,
    stocked_plant,
    type_test,
)
from tests.strategies import FIRST_MS, changed_records, shifted

AUTHORS = st.sampled_from(["a-mary", "a-john"])
COUNTS, STEPS = st.integers(1, 6), ["turned", "sanded", "polished"]
STOPS = st.sets(st.sampled_from(["use", "work", "release", "shipment"]), min_size=1).map(sorted).map(tuple)
LOW_STAGES = ("block", "core", "shell")


class RandomPlant(RuleBasedStateMachine):
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

    @rule(
        late_s=st.sampled_from([60, 1_200, 86_400]), doubtful_s=st.sampled_from([1, 600]), cap=st.sampled_from("1234")
    )
    def limit(self, late_s: int, doubtful_s: int, cap: str) -> None:
        """The plant sets its limits anew."""
        self.say(PlantRulesSet(at=self.now(), late_s=late_s, doubtful_s=doubtful_s, density_cap=cap))

    @rule(data=st.data())
    def mix(self, data: st.DataObject) -> None:
        """A drum, sometimes of own lots, and a batch of it."""
        own = data.draw(st.sampled_from([*self.lots(*LOW_STAGES), ""]))
        drum, now = self.fresh("MAT"), self.now()
        made = {"from_lots": (OwnLot(lot=own, amount=data.draw(COUNTS)),)} if own else {}
        drawn = batch(
            self.fresh("MIX"),
            (drum, "10"),
            (self.pick(data, self.lots("material")), "2"),
            began_at=now,
            at=now,
            density="3.2",
        )
        self.say(material(drum, at=now, kg="50", **made), drawn)

    @rule(data=st.data(), count=COUNTS, rejects=st.integers(0, 2), minutes=st.integers(2, 40))
    def mould(self, data: st.DataObject, count: int, rejects: int, minutes: int) -> None:
        """Blocks, demoulded too soon or too late at times."""
        drawn = batch("X", (self.pick(data, self.lots("batch")), "10")).draws
        ended = shifted(self.now(), minutes)
        lot = self.pick(data, self.lots("block")) if count == 6 else self.fresh("BL")
        self.say(blocks(lot, count, rejects=rejects, began_at=self.now(), at=ended, batches=drawn))

    @rule(data=st.data(), several=st.integers(1, 2), shell=st.booleans(), good=st.integers(-1, 0))
    def pour(self, data: st.DataObject, several: int, shell: bool, good: int) -> None:  # noqa: FBT001  # drawn by name
        """Cores of blocks or shells of cores, of one or two lots, some of them with positions."""
        drawn = [(self.pick(data, self.lots("core" if shell else "block")), data.draw(COUNTS)) for _ in range(several)]
        if shell and data.draw(st.booleans()):
            drawn = [(lot, count, 1, count) for lot, count in drawn]  # type: ignore[misc]  # with positions
        fields: dict[str, Any] = {"began_at": self.now(), "at": shifted(self.now(), data.draw(st.integers(3, 40)))}
        fields["count"] = max(1, sum(draw[1] for draw in drawn) + good)
        pour = shells(self.fresh("SL"), *drawn, **fields) if shell else cores(self.fresh("CL"), *drawn, **fields)
        self.say(pour)

    @rule(data=st.data(), count=COUNTS, what=st.sampled_from(["split", "merge", "lose", "recount", "work", "close"]))
    def change_lot(self, data: st.DataObject, count: int, what: str) -> None:
        """What happens to a lot after it was made."""
        now = self.now()
        stage = data.draw(st.sampled_from(LOW_STAGES))
        if what in {"split", "merge"} and data.draw(st.booleans()):
            count = 1
        lot, other = self.pick(data, self.lots(stage)), self.pick(data, self.lots(stage))
        units = [(unit.unit, unit.serial) for unit in self.rows(Unit) if unit.lot == lot]
        parts = (PartOfLot(lot=lot, count=count), PartOfLot(lot=other, count=count))
        records: dict[str, Record] = {
            "split": LotSplit(at=now, lot=lot, into=self.fresh("SP"), count=count),
            "merge": LotsMerged(at=now, lots=parts, into=self.fresh("ME")),
            "lose": PiecesLost(at=now, lot=lot, count=count, how="scrap", reason="void"),
            "recount": LotRecounted(at=now, lot=lot, left=count, reason="count"),
            "work": LotWorked(at=now, began_at=now, lot=lot, step=data.draw(st.sampled_from(STEPS)), station="T-1"),
            "close": LotClosed(at=now, lot=lot, count=len(units), balls_root=balls_root(units)),
        }
        self.say(records[what])

    @rule(data=st.data(), prior=st.booleans(), started=st.booleans())
    def engrave(self, data: st.DataObject, prior: bool, started: bool) -> None:  # noqa: FBT001  # drawn by name
        """A ball of a shell lot; started on the lathe at times, sometimes with a number that repeats."""
        lot, unit, now = self.pick(data, self.lots("shell")), self.fresh("U"), self.now()
        serial = f"OLD-{data.draw(st.integers(1, 2))}" if prior else allot(self.plant)[0]
        made = [UnitStarted(at=now, unit=unit, lot=lot, station="T-1")] if started else []
        self.say(*made, engraving(unit, serial, lot=lot, at=now, scheme="prior" if prior else "own"))

    @rule(
        data=st.data(),
        what=st.sampled_from(["anew", "worked", "read", "hard", "rework", "scrap", "return", "restock", "regrade"]),
    )
    def change_ball(self, data: st.DataObject, what: str) -> None:
        """What happens to a ball."""
        unit, now = self.pick(data, [row.unit for row in self.rows(Unit)]), self.now()
        earlier = shifted(now, -60 * data.draw(st.integers(0, 30)))
        records: dict[str, Record] = {
            "anew": BallEngravedAnew(at=now, unit=unit, serial=allot(self.plant)[0], station="E-1", reason="slipped"),
            "worked": UnitWorked(at=earlier, unit=unit, step=data.draw(st.sampled_from(STEPS)), station="S-1"),
            "read": inspection(unit, reading(value=f"15.{data.draw(st.integers(10, 30))}"), at=earlier),
            "hard": inspection(unit, reading("hardness", "76"), at=earlier),
            "rework": Rework(
                at=earlier, unit=unit, operation=data.draw(st.sampled_from(["polish", "re-turn"])), station="P"
            ),
            "scrap": Scrap(at=now, unit=unit, how="scrap", reason="void"),
            "return": Returned(at=now, unit=unit, reason="unsold"),
            "restock": Restocked(at=now, unit=unit),
            "regrade": Regrade(at=now, unit=unit, grade="house", reason="scratch"),
        }
        self.say(records[what])

    @precondition(lambda self: self.lots("shell"))
    @rule(data=st.data(), accepted=st.booleans())
    def judge_sample(self, data: st.DataObject, accepted: bool) -> None:  # noqa: FBT001  # drawn by name
        """A lot's sample, accepted or not, and a reading of the lot."""
        lot = data.draw(st.sampled_from(self.lots("shell")))
        readings = (reading("hardness", "75"),)
        bad = int(not accepted)
        self.say(Inspection(at=self.now(), lot=lot, station="Q-1", readings=readings))
        self.say(sample(lot=lot, at=self.now(), accepted=accepted, nonconforming=bad))

    @rule(revised=st.booleans(), accepted=st.booleans(), named=st.integers(0, 3))
    def judge_model(self, revised: bool, accepted: bool, named: int) -> None:  # noqa: FBT001  # drawn by name
        """A type test, of the revision that stands or of one that is named; before it a new revision at times."""
        standing = self.plant.row(Model, "NOVA")
        if revised and standing is not None:
            self.say(model(at=self.now(), model="NOVA", gtin="09521234000020", revision=standing.revision + 1))
        fields: dict[str, Any] = {"revision": named} if named else {}
        self.say(
            type_test(model="NOVA", at=self.now(), accepted=accepted, nonconforming=0 if accepted else 2, **fields)
        )

    @precondition(lambda self: self.rows(Unit))
    @rule(
        data=st.data(),
        grade=st.sampled_from(["first", "first", "second", "prototype"]),
        good=st.booleans(),
        ready=st.booleans(),
    )
    def release(self, data: st.DataObject, grade: str, good: bool, ready: bool) -> None:  # noqa: FBT001  # drawn by name
        """A release; once entered, no open hold above the ball stopped it, and first quality conforms."""
        fit = [row.unit for row in self.rows(Unit) if row.state in {"engraved", "reworked", "returned"}]
        name, now = data.draw(st.sampled_from(fit or [row.unit for row in self.rows(Unit)])), self.now()
        unit = self.plant.row(Unit, name)
        if ready:
            calibrated = GaugeCalibrated(at=now, gauge="G-MASS", as_found_good=True, due_at=shifted(now, 100_000))
            readings = (reading(), reading("hardness", "76"))
            self.say(calibrated, inspection(name, *readings, at=now), sample(lot=unit.lot, at=now))
        stopped = self.stopped(unit)
        basis = (Basis(rulebook="body-a", digest=RULEBOOK, outcome="conforms" if good else "does_not_conform"),)
        if self.say(release(self.plant, name, at=now, grade=grade, bases=basis)):
            assert (False, True) == (stopped, good or grade != "first")
            assert self.plant.row(Unit, name).state == "released"

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

    @rule(data=st.data(), sale=st.booleans())
    def ship(self, data: st.DataObject, sale: bool) -> None:  # noqa: FBT001  # drawn by name
        """One or two balls leave."""
        units = tuple({self.pick(data, [row.unit for row in self.rows(Unit)]) for _ in range(2)})
        self.say(
            Shipment(
                at=self.now(), shipment=self.fresh("SH"), units=tuple(sorted(units)), consignee="a shop",
                purpose="sale" if sale else "test",
            )
        )  # fmt: skip

    @rule(data=st.data(), stops=STOPS, recall=st.booleans(), by_rule=st.booleans())
    def place(self, data: st.DataObject, stops: Any, recall: bool, by_rule: bool) -> None:  # noqa: FBT001  # drawn by name
        """A hold on a lot, a ball, or by rule."""
        nodes = [f"lot:{lot.lot}" for lot in self.rows(Lot)] + [f"unit:{unit.unit}" for unit in self.rows(Unit)]
        rules = HoldRule(stage=data.draw(st.sampled_from(["core", "shell"])))
        named: dict[str, Any] = {"rule": rules} if by_rule else {"node": data.draw(st.sampled_from(nodes))}
        self.say(HoldPlaced(at=self.now(), hold=self.fresh("H"), reason="void", stops=stops, recall=recall, **named))

    @precondition(lambda self: self.rows(Hold))
    @rule(data=st.data(), author=AUTHORS, concede=st.booleans())
    def lift(self, data: st.DataObject, author: str, concede: bool) -> None:  # noqa: FBT001  # drawn by name
        """A hold lifted or conceded."""
        hold = data.draw(st.sampled_from(self.rows(Hold)))
        said: Record = HoldLifted(at=self.now(), hold=hold.hold, reason="fine")
        if concede and hold.node != "rule":
            said = Concession(at=self.now(), node=hold.node, holds=(hold.hold,), reason="fine")
        self.say(said, author=author)

    @rule(good=st.booleans(), kind=st.sampled_from(["calibrated", "checked", "faulted"]))
    def gauge(self, good: bool, kind: str) -> None:  # noqa: FBT001  # drawn by name
        """What becomes of the scale."""
        now = self.now()
        records: dict[str, Record] = {
            "calibrated": GaugeCalibrated(at=now, gauge="G-MASS", as_found_good=good, due_at=shifted(now, 100_000)),
            "checked": GaugeChecked(at=now, gauge="G-MASS", master="M-1", good=good),
            "faulted": GaugeFaulted(at=now, gauge="G-MASS", reason="dropped"),
        }
        self.say(records[kind])

    @rule(data=st.data(), step=st.sampled_from(["open", "examine", "decide", "replace"]))
    def claim(self, data: st.DataObject, step: str) -> None:
        """A claim goes on."""
        claim, now = self.pick(data, [row.claim for row in self.rows(Claim)]), self.now()
        unit = self.pick(data, [row.unit for row in self.rows(Unit)])
        records: dict[str, Record] = {
            "open": ClaimOpened(at=now, claim=self.fresh("C"), mode="other", unit=unit, claimant="a person"),
            "examine": ClaimExamined(at=now, claim=claim, finding="void"),
            "decide": ClaimDecided(at=now, claim=claim, decision="accept", reason="in-term"),
            "replace": ClaimReplaced(at=now, claim=claim, unit=unit),
        }
        self.say(records[step])

    @rule(data=st.data(), author=AUTHORS)
    def correct(self, data: st.DataObject, author: str) -> None:
        """One to three facts, whichever they are, withdrawn or said otherwise."""
        facts = data.draw(
            st.lists(st.sampled_from(self.plant.facts()), min_size=1, max_size=3, unique_by=lambda f: f.address)
        )
        names = {
            "lot": self.lots(*LOW_STAGES, "material", "batch"),
            "into": [self.fresh("SP"), *self.lots(*LOW_STAGES)],
            "batch": [self.fresh("MIX")],
            "unit": [row.unit for row in self.rows(Unit)] + [self.fresh("U")],
            "hold": [row.hold for row in self.rows(Hold)] + [self.fresh("H")],
            "claim": [row.claim for row in self.rows(Claim)] + [self.fresh("C")],
            "operation": ["polish", "re-turn"],
            "grade": ["second", "house"],
        }
        changes = []
        for fact in facts:
            if type(fact.record) not in PLAIN_KIND_OF or data.draw(st.integers(0, 3)) == 0:
                changes.append(Change(fact=fact.address))
            else:
                changes.append(Change(fact=fact.address, replacement=data.draw(changed_records(fact.record, names))))
        self.say(Correction(at=self.now(), reason="typed-wrong", changes=tuple(changes)), author=author)

    @rule(data=st.data())
    def recheck(self, data: st.DataObject) -> None:
        """A few facts looked at again."""
        addresses = [fact.address for fact in self.plant.facts()]
        facts = tuple(data.draw(st.lists(st.sampled_from(addresses), min_size=1, max_size=5)))
        self.say(Recheck(at=self.now(), because=facts[0], facts=facts))

    @rule(data=st.data())
    def repeat(self, data: st.DataObject) -> None:
        """What was said before is said again, with something sound before it: both stand or neither."""
        fact = data.draw(st.sampled_from(self.plant.facts()))
        if type(fact.record) in PLAIN_KIND_OF:
            self.say(material(self.fresh("MAT"), at=self.now()), fact.record)

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


def test_random_plants_keep_their_invariants() -> None:
    """150 plants of up to 40 steps."""
    run_state_machine_as_test(RandomPlant, settings=settings(max_examples=150, stateful_step_count=40))


@pytest.mark.full
def test_many_random_plants_keep_their_invariants() -> None:
    """1,500 plants of up to 60 steps."""
    run_state_machine_as_test(RandomPlant, settings=settings(max_examples=1500, stateful_step_count=60))
