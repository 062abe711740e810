"""What the random plant says of itself: its limits and release policy, models and plans, gauges, adopted files."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import strategies as st
from hypothesis.stateful import rule
from msgspec import UNSET

from ledger.line.checklists import ChecklistAdopted
from ledger.line.corrections import Change, Correction
from ledger.line.gauges import GaugeCalibrated, GaugeChecked, GaugeFaulted, GaugeRegistered
from ledger.line.models import RulebookAdopted
from ledger.line.plant_rules import PlantRulesSet
from ledger.line.process_plan import Inspect
from ledger.line.record import Record
from ledger.line.release_policy import HouseRule, ReleasePolicySet
from ledger.line.rows import Model
from tests.line.machine_ground import AUTHORS, CHECKLISTS, DIGESTS, GAUGES, RULEBOOKS, WARM, PlantGround
from tests.line.making import WINDOWS, approval, model, plan, studied, type_test
from tests.strategies import shifted

GTINS = {"NOVA": "09521234000020", "ORBIT": "09521234000013"}


class OfficeRules(PlantGround):
    """Steps about the plant as a whole."""

    @rule(
        late_s=st.sampled_from([60, 1_200, 86_400]), doubtful_s=st.sampled_from([1, 600]), cap=st.sampled_from("1234")
    )
    def limit(self, late_s: int, doubtful_s: int, cap: str) -> None:
        """The plant sets its limits anew."""
        self.say(PlantRulesSet(at=self.now(), late_s=late_s, doubtful_s=doubtful_s, density_cap=cap))

    @rule(name=st.sampled_from(sorted(GTINS)), revised=st.booleans(), accepted=st.booleans(), named=st.integers(0, 3))
    def judge_model(self, name: str, revised: bool, accepted: bool, named: int) -> None:  # noqa: FBT001  # drawn by name
        """A type test, of the revision that stands or of one that is named; before it a new revision at times."""
        standing = self.plant.row(Model, name)
        if revised and standing is not None:
            self.say(model(at=self.now(), model=name, gtin=GTINS[name], revision=standing.revision + 1))
        fields: dict[str, Any] = {"revision": named} if named else {}
        self.say(type_test(model=name, at=self.now(), accepted=accepted, nonconforming=0 if accepted else 2, **fields))

    @rule(
        decision=st.sampled_from(["simple", "guarded", "three_way"]),
        needed=st.booleans(),
        by=st.sampled_from([(), ("quality",), ("quality", "admin")]),
        rules=st.lists(st.sampled_from(["mass", "hardness"]), max_size=2),
    )
    def state_policy(self, decision: Any, needed: bool, by: Any, rules: list[str]) -> None:  # noqa: FBT001  # drawn by name
        """The release policy is stated anew; refused where it has two rules for one quantity."""
        own = tuple(HouseRule(quantity=quantity, decision="guarded", guard_r="1.5") for quantity in rules)
        house: Any = "needed" if needed else "shown"
        self.say(
            ReleasePolicySet(at=self.now(), decision=decision, quantities=own, house=house, undecided_by=by),
            author="a-john",
        )

    @rule(lists=st.booleans(), second=st.booleans(), digest=st.sampled_from(DIGESTS))
    def adopt(self, lists: bool, second: bool, digest: str) -> None:  # noqa: FBT001  # drawn by name
        """A rulebook or a checklist is adopted, an earlier edition again at times; one file keeps to one name."""
        name = (CHECKLISTS if lists else RULEBOOKS)[second]
        adopted = (
            ChecklistAdopted(at=self.now(), checklist=name, digest=digest)
            if lists
            else RulebookAdopted(at=self.now(), rulebook=name, digest=digest)
        )
        self.say(adopted)

    @rule(warm=st.booleans(), book=st.booleans(), every=st.sampled_from(["unit", "sample", "model"]))
    def plan_anew(self, warm: bool, book: bool, every: Any) -> None:  # noqa: FBT001  # drawn by name
        """A plan of either model from now on: with a temperature or without, hardness inspected in one of the ways."""
        numbers: dict[str, Any] = {"n": 3, "accept": 0, "reject": 1} if every == "sample" else {}
        inspect = (Inspect(quantity="mass", every="unit"), Inspect(quantity="hardness", every=every, **numbers))
        windows = WARM if warm else WINDOWS
        books = ("body-a",) if book else ()
        self.say(plan(at=self.now(), model="ORBIT", windows=windows, inspect=inspect, rulebooks=books))

    @rule(status=st.sampled_from(["approved", "approved", "refused"]), revision=st.integers(1, 2))
    def answer(self, status: Any, revision: int) -> None:
        """A body's answer about a model."""
        self.say(approval(at=self.now(), status=status, revision=revision, from_on=self.now()[:10]))

    @rule(
        name=st.sampled_from(GAUGES),
        good=st.booleans(),
        kind=st.sampled_from(["calibrated", "checked", "faulted", "studied"]),
    )
    def gauge(self, name: str, good: bool, kind: str) -> None:  # noqa: FBT001  # drawn by name
        """What becomes of a gauge."""
        now = self.now()
        records: dict[str, Record] = {
            "calibrated": GaugeCalibrated(at=now, gauge=name, as_found_good=good, due_at=shifted(now, 100_000)),
            "checked": GaugeChecked(at=now, gauge=name, master="M-1", good=good),
            "faulted": GaugeFaulted(at=now, gauge=name, reason="dropped"),
            "studied": studied(name, at=now, pooled=good),
        }
        self.say(records[kind])

    @rule(
        name=st.sampled_from(["G-MASS", "G-SPARE"]),
        high=st.sampled_from([UNSET, "15.12", "100"]),
        unit=st.sampled_from(["lb", "lb", "kg"]),
        author=AUTHORS,
    )
    def register_otherwise(self, name: str, high: Any, unit: str, author: str) -> None:
        """The range or the unit of a gauge is put right."""
        said = [
            fact
            for fact in self.plant.facts()
            if isinstance(fact.record, GaugeRegistered) and fact.record.gauge == name
        ]
        for fact in said[:1]:
            replacement = msgspec.structs.replace(fact.record, high=high, unit=unit)
            change = Change(fact=fact.address, replacement=replacement)
            self.say(Correction(at=self.now(), reason="typed-wrong", changes=(change,)), author=author)
