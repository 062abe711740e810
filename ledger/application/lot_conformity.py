"""A lot judged: the means of its balls, the components that they are made of, and what was tested once for their model.

Each requirement that is not judged ball by ball has its verdict here.  A lot's mean is that of its balls that were read, but
those scrapped since.  A component is a batch or material that was poured into a block, a core or a shell of this lot or
above it, and each such lot that was read itself; its density is a reading of it, else the one stated when it was made.
What is asked of a model is met by an accepted type test of the lot's revision, as that was judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import msgspec

from ledger.application.adopted_files import find_rulebook
from ledger.application.covered import ByModelTest, BySample, by_model_test, by_sample
from ledger.application.judging import grounds_of, judged_rows
from ledger.application.lot_account import known_lot_row
from ledger.application.lot_readings import LotReadingSeen, gauges_of, lot_readings
from ledger.application.release_policies import policy_in_force
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.from_rows import facts_from_rows, stated_kinds
from ledger.conformity.house import HousePolicy
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.judged_figure import Ground, by_effect, judge_reading, unjudged
from ledger.conformity.lot_mean import judge_mean
from ledger.conformity.lot_readings import standing_of_lot
from ledger.conformity.outcome import CAUTION, Outcome, Verdict, house_overall, overall
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.scope import Applies, Standing, standing
from ledger.conformity.verdict import reading_of
from ledger.line.quantity import QUANTITIES
from ledger.line.reading_rows import LotReading
from ledger.line.rows import Lot, Model
from ledger.store.reader import Reader
from ledger.store.selections import Selection, StoredEdges, rows_with, select_balls
from ledger.tracing.back import trace_back

PAGE = 2_048
DENSITY = "component_density"
_REASONS = 5
"""Different reasons that are told of one limit: balls of a lot have few, but for their weights."""

_POURED = ("compound", "colour:")


class LotVerdict(msgspec.Struct, frozen=True, kw_only=True):
    """One requirement held against what ``of`` names: the lot, a component's lot, or the model at a revision."""

    of: str
    verdict: Verdict


class LotConformity(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How a lot comes out under one rulebook edition.

    ``outcome``: the worst verdict, of those that are not judged ball by ball; ``house``: by the rule of the house.
    ``calls``: in words, the further samples that a reading calls for.  ``samples`` and ``model_tests`` are the judgements
    that cover the lot; ``readings``: those that name no ball, of the lot and of its components.
    """

    lot: str
    stage: str
    rulebook: str
    edition: str
    digest: str
    outcome: Outcome
    verdicts: tuple[LotVerdict, ...]
    calls: tuple[str, ...]
    balls: int
    house: Outcome | None = None
    samples: tuple[BySample, ...] = ()
    model_tests: tuple[ByModelTest, ...] = ()
    readings: tuple[LotReadingSeen, ...] = ()
    caution: str = CAUTION
    policy: str = ""


class _Component(NamedTuple):
    """A lot whose density counts, and its density if it is on record; ``certain`` where every ball holds it."""

    lot: str
    density: Measured | None
    certain: bool


class _Judge:
    """One lot and one rulebook: what is known of its balls, as far as requirements ask for it."""

    def __init__(self, reader: Reader, lot: Lot, rulebook: Rulebook, policy: HousePolicy | None) -> None:
        self.lot, self.body, self.policy = lot, rulebook.body, policy
        self.balls = self.scrapped = 0
        self.wanted = [one for one in rulebook.requirements if one.per != "ball"]
        self.facts = list(_facts(reader, lot, rulebook, self))
        self._known = self.facts or [_unmade(reader, lot)]
        self.components = _components(reader, lot)
        self.tests = {test.quantity: test for test in by_model_test(reader, lot)}

    def verdicts(self) -> Iterator[LotVerdict]:
        """Every verdict, in the order of the rulebook."""
        for requirement in self.wanted:
            scope = self._standing(requirement)
            if scope.applies is Applies.NO:
                yield LotVerdict(
                    of=f"lot {self.lot.lot}", verdict=self._unjudged(requirement, "not_applicable", scope.reasons)
                )
            elif requirement.per == "component":
                yield from self._of_components(requirement, scope)
            elif requirement.effect == "trigger" or requirement.per == "lot_mean":
                yield LotVerdict(of=f"lot {self.lot.lot}", verdict=self._of_balls(requirement, scope))
            else:
                yield LotVerdict(
                    of=f"model {self.lot.model} revision {self.lot.revision}",
                    verdict=self._of_model(requirement, scope),
                )

    def calls(self, verdicts: Sequence[LotVerdict]) -> list[str]:
        """The samples that readings call for: every trigger that is not met, by whatever ball of the lot."""
        triggers = {one.id: one for one in self.wanted if one.effect == "trigger"}
        found = []
        for one in verdicts:
            verdict, trigger = one.verdict, triggers.get(one.verdict.requirement)
            if trigger is not None and verdict.margin is not None and _not_met(verdict, trigger):
                name = QUANTITIES[trigger.quantity].name
                found.append(
                    f"{name} {verdict.value} {verdict.unit}, asked {verdict.limit}: {trigger.note or trigger.id}"
                )
        return found

    def _standing(self, requirement: Requirement) -> Standing:
        """Whether a requirement is about the lot: about every ball of it, about none, or that is not known or mixed."""
        answers = [standing(requirement, facts) for facts in self._known]
        applies = {answer.applies for answer in answers}
        reasons = tuple(dict.fromkeys(reason for answer in answers for reason in answer.reasons))[:_REASONS]
        if len(applies) == 1:
            return Standing(applies.pop(), reasons)
        return Standing(Applies.UNKNOWN, ("the limit is about some balls of the lot and not about others", *reasons))

    def _of_balls(self, requirement: Requirement, scope: Standing) -> Verdict:
        more = (f"balls scrapped since, left out: {self.scrapped}",) if self.scrapped else ()
        if requirement.per == "lot_mean":
            return self._mean(requirement, more)
        values = [measured for facts in self.facts if (measured := _read(requirement, facts)) is not None]
        usable = [value for value in values if value.usable]
        if not usable:
            return self._unjudged(
                requirement, "not_measured", (*scope.reasons, "no ball of the lot has a usable reading")
            )
        verdicts = [judge_reading(requirement, one, body=self.body, policy=self.policy) for one in usable]
        figured = [verdict for verdict in verdicts if verdict.margin is not None] or verdicts
        nearest = min(figured, key=lambda verdict: float(verdict.margin or 0))
        missed = sum(_not_met(verdict, requirement) for verdict in figured if verdict.margin is not None)
        said = f"the worst of {len(usable)} balls read; {missed} of them do not meet it"
        return self._with_scope(requirement, nearest, scope, (said, *more))

    def _mean(self, requirement: Requirement, more: tuple[str, ...]) -> Verdict:
        """Over the balls that the limit is about; where it may be about some alone, over those, and never surely failed."""
        answers = [(standing(requirement, facts), facts) for facts in self.facts]
        sure = [facts for answer, facts in answers if answer.applies is Applies.YES]
        about = sure or [facts for answer, facts in answers if answer.applies is Applies.UNKNOWN]
        values = [measured for facts in about if (measured := _read(requirement, facts)) is not None]
        left, unread = len(self.facts) - len(about), len(about) - len(values)
        if left:
            more = (*more, f"balls that the limit is not, or may not be, about, left out: {left}")
        if unread:
            more = (*more, f"balls without a reading: {unread}")
        verdict = judge_mean(requirement, values, body=self.body, policy=self.policy)
        scope = Standing(Applies.YES) if sure or not self.facts else self._standing(requirement)
        return self._with_scope(requirement, verdict, scope, more)

    def _of_components(self, requirement: Requirement, scope: Standing) -> Iterator[LotVerdict]:
        if not self.components:
            yield LotVerdict(
                of=f"lot {self.lot.lot}",
                verdict=self._unjudged(requirement, "not_measured", ("the book knows no component of the lot",)),
            )
        for component in self.components:
            certain = () if component.certain else ("it is possible that a ball of the lot holds none of it",)
            density = component.density
            if density is None or not density.usable:
                why = (
                    f"the density of {component.lot} is not on record: measure it, or state it when the batch is mixed"
                )
                if density is not None:
                    why = f"the density of {component.lot} is not usable: {density.why_unusable}"
                verdict = self._unjudged(requirement, "not_measured", (*scope.reasons, why, *certain))
            else:
                ground = Ground(standing=scope, reasons=certain)
                verdict = judge_reading(requirement, density, ground=ground, body=self.body, policy=self.policy)
            yield LotVerdict(of=component.lot, verdict=verdict)

    def _of_model(self, requirement: Requirement, scope: Standing) -> Verdict:
        name, test = QUANTITIES[requirement.quantity].name, self.tests.get(requirement.quantity)
        if test is None:
            why = f"no type test of {name} is judged for this revision (model-judged)"
            return self._unjudged(requirement, "not_measured", (*scope.reasons, why))
        said = (
            f"by model test of revision {test.revision}: {test.nonconforming} of {test.n} did not conform, "
            f"{'accepted' if test.accepted else 'not accepted'} (fact {test.fact}); the record names no limit that it was held against"
        )
        outcome, more = by_effect(requirement, "conforms" if test.accepted else "does_not_conform")
        if scope.applies is Applies.UNKNOWN and not test.accepted:
            outcome = "undecided"
        return self._unjudged(requirement, outcome, (*scope.reasons, said, *more), test.fact)

    def _with_scope(
        self, requirement: Requirement, verdict: Verdict, scope: Standing, said: tuple[str, ...]
    ) -> Verdict:
        """The verdict, undecided where it fails and it is not known that the limit applies."""
        reasons = (*scope.reasons, *said, *verdict.reasons)
        if scope.applies is Applies.UNKNOWN and verdict.outcome in ("does_not_conform", "barred"):
            return self._unjudged(requirement, "undecided", reasons)
        return msgspec.structs.replace(verdict, reasons=reasons)

    def _unjudged(
        self, requirement: Requirement, outcome: Outcome, reasons: tuple[str, ...], fact: str = ""
    ) -> Verdict:
        return unjudged(requirement, outcome, reasons, body=self.body, policy=self.policy, fact=fact)


def lot_conformity(reader: Reader, lot: str, rulebook: str) -> LotConformity:
    """Judge a lot by a rulebook edition. Raises NotFound. Cost: linear in the lot's balls."""
    row, edition, policy = known_lot_row(reader, lot), find_rulebook(reader, rulebook), policy_in_force(reader)
    judge = _Judge(reader, row, edition.rulebook, house_policy(policy))
    verdicts = tuple(judge.verdicts())
    only = [one.verdict for one in verdicts]
    return LotConformity(
        lot=row.lot,
        stage=row.stage,
        rulebook=edition.rulebook.id,
        edition=edition.rulebook.edition,
        digest=edition.digest,
        outcome=overall(only),
        house=house_overall(only),
        verdicts=verdicts,
        calls=tuple(judge.calls(verdicts)),
        balls=judge.balls,
        samples=by_sample(reader, lot),
        model_tests=tuple(judge.tests.values()),
        readings=lot_readings(reader, sorted({lot, *(component.lot for component in judge.components)})),
        policy="" if policy is None else policy.address,
    )


def _read(requirement: Requirement, facts: BallFacts) -> Measured | None:
    return reading_of(requirement.quantity, facts)[0]


def _not_met(verdict: Verdict, requirement: Requirement) -> bool:
    margin = float(verdict.margin or 0)
    return margin < 0 or (margin == 0 and requirement.strict)


def _facts(reader: Reader, lot: Lot, rulebook: Rulebook, count: _Judge) -> Iterator[BallFacts]:
    """What is known of each ball of the lot that was not scrapped, a page at a time; the others are counted."""
    selection = Selection(lot=lot.lot)
    while page := select_balls(reader.transaction, selection._replace(limit=PAGE)):
        grounds = grounds_of(reader, page)
        for one in page:
            count.balls += 1
            if one.unit.state == "scrapped":
                count.scrapped += 1
            else:
                yield facts_from_rows(judged_rows(one, grounds), rulebook)
        selection = selection._replace(after=page[-1].unit.unit)


def _unmade(reader: Reader, lot: Lot) -> BallFacts:
    """What is known of a lot that no ball was made of yet: its model and its class, and no date."""
    model = None if lot.model is None else reader.one(Model, lot.model)
    return BallFacts(
        core="asymmetric" if model is not None and model.core == "asymmetric" else "symmetric",
        weight_class=lot.weight_class,
        made_on=None,
        finish=lot.finish or (None if model is None else model.finish),
        kinds={} if model is None else stated_kinds(model.kinds),
    )


def _components(reader: Reader, lot: Lot) -> list[_Component]:
    """The components in a lot: what was poured into it or above it, itself where it is a batch, and lots that were read."""
    trace = trace_back(StoredEdges(reader), lot.lot)
    certain = {one.lot: one.certainty == "certain" for one in trace.ancestors} | {lot.lot: True}
    poured = {one.lot for one in trace.ancestors if any(edge.part.startswith(_POURED) for edge in one.drawn)}
    if lot.stage == "batch":
        poured.add(lot.lot)
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", list(certain))}
    readings: dict[str, list[LotReading]] = {}
    for reading in rows_with(reader, LotReading, "lot", list(certain)):
        if reading.quantity == DENSITY:
            readings.setdefault(reading.lot, []).append(reading)
    gauges = gauges_of(reader, [row for found in readings.values() for row in found])
    names = sorted(poured | {name for name in readings if rows[name].stage not in ("material", "batch")})
    return [
        _Component(name, standing_of_lot(readings.get(name, ()), DENSITY, gauges) or _stated(rows[name]), certain[name])
        for name in names
    ]


def _stated(lot: Lot) -> Measured | None:
    if lot.density_micro is None:
        return None
    return Measured(
        value_scaled=lot.density_micro, unit="g_ml", u_from="not known: stated when it was made", fact=lot.address
    )
