"""What the random plant says about what was said: holds, corrections, re-checks, erasures, and the same again."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from ledger.line.claim_rows import Claim
from ledger.line.corrections import Change, Correction, Recheck
from ledger.line.erasures import Erasure, NameErasure
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.lineage import HoldRule
from ledger.line.record import Record
from ledger.line.rows import Hold, Lot, Unit
from tests.line.machine_ground import AUTHORS, CHECKLISTS, DIGESTS, GAUGES, LOW_STAGES, RULEBOOKS, PlantGround
from tests.line.making import material
from tests.strategies import changed_records

STOPS = st.sets(st.sampled_from(["use", "work", "release", "shipment"]), min_size=1).map(sorted).map(tuple)


class ChangeRules(PlantGround):
    """Steps about earlier steps."""

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
            "gauge": list(GAUGES),
            "rulebook": list(RULEBOOKS),
            "checklist": list(CHECKLISTS),
            "digest": list(DIGESTS),
            "stage": ["block-rest", "core-rest", "final-cure"],
        }
        changes = []
        for fact in facts:
            if type(fact.record) not in PLAIN_KIND_OF or data.draw(st.integers(0, 3)) == 0:
                changes.append(Change(fact=fact.address))
            else:
                changes.append(Change(fact=fact.address, replacement=data.draw(changed_records(fact.record, names))))
        said = Correction(at=self.now(), reason="typed-wrong", changes=tuple(changes), note="as somebody says")
        self.say(said, author=author)

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

    @rule(data=st.data(), whose=st.sampled_from(["field", "field", "field", "a-mary", "a-john"]), other=st.booleans())
    def erase(self, data: st.DataObject, whose: str, other: bool) -> None:  # noqa: FBT001  # drawn by name
        """Fields of one entry are erased, or a name: all that are named or none, and nothing twice."""
        if whose != "field":
            self.say(NameErasure(at=self.now(), account=whose, basis="request", reason="asked"))
            return
        erasable = sorted(name for name, sealing in self.plant.openings.items() if sealing == "erasable")
        name = data.draw(st.sampled_from([*erasable, *erasable, "0/0/note", "3/0/draws/0/kg"]))
        entry, _, path = name.partition("/")
        fields = [path, *(["0/note"] if other and path != "0/note" else [])]
        before = dict(self.plant.openings)
        if self.say(Erasure(at=self.now(), entry=int(entry), fields=tuple(fields), basis="request", reason="asked")):
            gone = {f"{entry}/{one}" for one in fields}
            assert gone == before.keys() - self.plant.openings.keys()
            assert {"erasable"} == {before[one] for one in gone}
