"""What the random plant says of its balls: engraved, read, reworked, released, shipped, claimed."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from msgspec import UNSET

from ledger.line.balls import BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.claim_rows import Claim
from ledger.line.fact import parse_address
from ledger.line.gauges import GaugeCalibrated
from ledger.line.record import Record
from ledger.line.release_policy import newest_policy
from ledger.line.releases import Basis, Regrade, Rework, Scrap
from ledger.line.rows import Lot, Plan, ReleasePolicy, RulebookRow, Unit
from ledger.line.shipments import Restocked, Returned, Shipment
from tests.line.claiming import PHOTO, claim_steps
from tests.line.machine_ground import STEPS, PlantGround
from tests.line.making import RULEBOOK, allot, engraving, inspection, reading, release, sample
from tests.strategies import shifted

OUTCOMES: Any = st.sampled_from(["conforms", "conforms", "conforms", "barred", "undecided", "does_not_conform"])


class BallRules(PlantGround):
    """Steps about balls."""

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

    @precondition(lambda self: self.rows(Unit))
    @rule(
        data=st.data(),
        grade=st.sampled_from(["first", "first", "second", "prototype"]),
        ready=st.booleans(),
        honest=st.integers(0, 4),
    )
    def release(self, data: st.DataObject, grade: str, ready: bool, honest: int) -> None:  # noqa: FBT001  # drawn by name
        """A release; once entered, no open hold above the ball stopped it, and it is as good as the policy asks."""
        fit = [row.unit for row in self.rows(Unit) if row.state in {"engraved", "reworked", "returned"}]
        name, now = data.draw(st.sampled_from(fit or [row.unit for row in self.rows(Unit)])), self.now()
        unit = self.plant.row(Unit, name)
        if ready:
            calibrated = GaugeCalibrated(at=now, gauge="G-MASS", as_found_good=True, due_at=shifted(now, 100_000))
            readings = (reading(), reading("hardness", "76"))
            self.say(calibrated, inspection(name, *readings, at=now), sample(lot=unit.lot, at=now))
        policy = newest_policy(self.rows(ReleasePolicy))
        said: dict[str, Any] = {"policy": policy.address} if policy is not None and honest else {}
        outcome, house = data.draw(OUTCOMES), data.draw(OUTCOMES)
        rests = [one == "undecided" for one in (outcome, house)[: 2 if self.needs_house(policy) else 1]]
        said["undecided"] = grade == "first" and any(rests) if honest else data.draw(st.booleans())
        basis = Basis(
            rulebook="body-a",
            digest=self.adopted(),
            outcome=outcome,
            house=UNSET if policy is None else house,
            covered=data.draw(st.sampled_from([(), (), ("hardness",)])),
        )
        stopped = self.stopped(unit)
        if self.say(release(self.plant, name, at=now, grade=grade, plan=self.plan_of(unit), bases=(basis,), **said)):
            counted = [outcome, house] if self.needs_house(policy) else [outcome]
            by = () if policy is None else policy.undecided_by
            first = all(one in {"conforms", "barred"} or (one == "undecided" and by) for one in counted)
            assert (False, True) == (stopped, bool(first) or grade != "first")
            assert (None if policy is None else policy.address) == said.get("policy")
            assert self.plant.row(Unit, name).state == "released"

    def needs_house(self, policy: ReleasePolicy | None) -> bool:
        """Whether first quality needs the answer of the house too."""
        return policy is not None and policy.house == "needed"

    def adopted(self) -> str:
        """The edition of the rulebook that is in force."""
        rows = [row for row in self.rows(RulebookRow) if row.rulebook == "body-a" and not row.superseded]
        return rows[0].digest if rows else RULEBOOK

    def plan_of(self, unit: Unit) -> str:
        """The plan that was in force when a ball was engraved, or begun."""
        at_ms, lot = unit.engraved_ms or unit.began_ms, self.plant.row(Lot, unit.lot)
        plans = [row for row in self.rows(Plan) if row.model == lot.model and row.from_ms <= at_ms]
        newest = max(plans, key=lambda row: (row.from_ms, parse_address(row.plan)), default=None)
        return "0.1" if newest is None else newest.plan

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

    @rule(data=st.data(), step=st.sampled_from(["open", "examine", "decide", "settle", "ask", "replace", "reply"]))
    def claim(self, data: st.DataObject, step: str) -> None:
        """A claim goes on."""
        claim, now = self.pick(data, [row.claim for row in self.rows(Claim)]), self.now()
        unit = self.pick(data, [row.unit for row in self.rows(Unit)])
        files = (PHOTO,) if data.draw(st.booleans()) else ()
        records = claim_steps(now, claim, self.fresh("C"), unit, files)
        self.say(records[step])
