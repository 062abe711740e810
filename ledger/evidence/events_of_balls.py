"""Events of the facts about one ball.

A ball comes into being when its number is engraved: a transformation of one piece of its shell lot, whose own
transformation took cores and colours, since it is the lot of which the records tell what went into it.  Before that the
ball is told as one piece of its lot, with its id in the plant.  A new number is a transformation of the ball that bore the
old one.

A disposition is ``conformant`` where every verdict of the sheet that rests on the inspection is that it conforms, and
``non_conformant`` where one is that it does not; otherwise there is none.  Neither is an approval.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from msgspec import UNSET, UnsetType

from ledger.evidence.event_facts import SaidFact
from ledger.evidence.event_names import Named, file_address
from ledger.evidence.event_readings import reading_elements
from ledger.evidence.event_shapes import Event, Master, ObjectEvent, Quantity, Sensed, Transaction, TransformationEvent
from ledger.evidence.events_of_lots import at_place, ending_events, head
from ledger.evidence.judged import Judged
from ledger.line.balls import BallEngraved, BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.fact import parse_address
from ledger.line.inspections import Inspection
from ledger.line.releases import Regrade, Release, Rework, Scrap
from ledger.line.shipments import Restocked, Returned, Shipment


class Scene(NamedTuple):
    """What the events of one document need to know besides the fact.

    ``unit`` and ``lot``: the ball and its lot; ``numbers``: the facts that gave it a number, ascending, and the numbers;
    ``judged``: the verdicts of its sheet; ``cure``: how its shell lot cured.
    """

    named: Named
    unit: str = ""
    lot: str = ""
    numbers: Sequence[tuple[str, str]] = ()
    judged: Sequence[Judged] = ()
    cure: tuple[Sensed, ...] = ()

    def number_at(self, fact: str, *, after: bool = False) -> str:
        """The number that the ball bore before a fact, or ``after`` it; empty where it had none yet."""
        index, position = parse_address(fact)
        place = (index, position + after)
        return next((number for at, number in reversed(self.numbers) if parse_address(at) < place), "")

    def target(self, fact: str, subject: str, *, after: bool = False) -> dict[str, Any]:
        """The fields that say which ball, or which lot, an event is about."""
        sort, _, name = subject.partition(":")
        if sort == "lot":
            return {"quantities": (Quantity(epc_class=self.named.lot(name)),)}
        number = self.number_at(fact, after=after)
        if number:
            return {"balls": (self.named.ball(name, self.lot, number),)}
        return {"quantities": (self.named.amount(self.lot, 1),), "unit": self.named.plant.thing("ball", name)}


def _observed(said: SaidFact, subject: str, scene: Scene) -> dict[str, Any]:
    return {**head(said, scene.named, subject), **scene.target(said.fact, subject), "action": "OBSERVE"}


def _worked(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: UnitStarted | UnitWorked = said.record
    step = record.step if isinstance(record, UnitWorked) else "turned"
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step=scene.named.plant.term(step),
            disposition="in_progress",
            read_point=at_place(scene.named, "station", record.station),
        )
    ]


def _engraved(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: BallEngraved = said.record
    named = scene.named
    return [
        TransformationEvent(
            **head(said, named, subject),
            step="commissioning",
            disposition="in_progress",
            read_point=at_place(named, "station", record.station),
            inputs=(named.amount(record.lot, 1),),
            output_balls=(named.ball(record.unit, record.lot, record.serial),),
            sensed=scene.cure,
            master=Master(
                unit=named.plant.thing("ball", record.unit),
                lot=named.lot(record.lot),
                place=record.place,
                weight_class=record.weight_class,
            ),
        )
    ]


def _engraved_anew(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: BallEngravedAnew = said.record
    named = scene.named
    return [
        TransformationEvent(
            **head(said, named, subject),
            step="commissioning",
            disposition="in_progress",
            read_point=at_place(named, "station", record.station),
            input_balls=(named.ball(record.unit, scene.lot, scene.number_at(said.fact)),),
            output_balls=(named.ball(record.unit, scene.lot, record.serial),),
            master=Master(unit=named.plant.thing("ball", record.unit)),
        )
    ]


def _inspected(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Inspection = said.record
    judged = judged_by_fact(said, scene)
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step="inspecting",
            disposition=_disposition({outcome for _, outcome in judged}),
            read_point=at_place(scene.named, "station", record.station),
            sensed=reading_elements(record, scene.named.plant),
            surface=record.surface,
            judged_by=tuple(dict.fromkeys(file_address(digest) for digest, _ in judged)),
        )
    ]


def judged_by_fact(said: SaidFact, scene: Scene) -> list[tuple[str, str]]:
    """The rulebook and the outcome of each verdict of the sheet that rests on a fact: none on a body that does not stand."""
    if not said.stands:
        return []
    return [(rulebook, outcome) for rulebook, outcome, fact in scene.judged if fact == said.fact]


def _disposition(outcomes: set[str]) -> Literal["conformant", "non_conformant"] | UnsetType:
    if "does_not_conform" in outcomes:
        return "non_conformant"
    return "conformant" if outcomes == {"conforms"} else UNSET


def _released(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Release | Regrade = said.record
    released = isinstance(record, Release)
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step=scene.named.plant.term("released" if released else "regraded"),
            disposition="available",
            grade=record.grade,
            reason=record.reason if isinstance(record, Regrade) else UNSET,
        )
    ]


def _reworked(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Rework = said.record
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step="repairing",
            disposition="available",
            read_point=at_place(scene.named, "station", record.station),
            operation=record.operation,
        )
    ]


def _scrapped(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Scrap = said.record
    target = scene.target(said.fact, subject)
    return ending_events(lambda part: {**head(said, scene.named, subject, part), **target}, record.how, record.reason)


def _shipped(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Shipment = said.record
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step="shipping",
            disposition="in_transit",
            transactions=(
                Transaction(type="desadv", transaction=scene.named.plant.thing("shipment", record.shipment)),
            ),
            purpose=record.purpose,
            consignee=said.opened("consignee", record.consignee),
        )
    ]


def _returned(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Returned = said.record
    return [
        ObjectEvent(
            **_observed(said, subject, scene),
            step="receiving",
            disposition="returned",
            transactions=(Transaction(type="rma", transaction=scene.named.plant.thing("return", said.fact)),),
            reason=record.reason,
        )
    ]


def _restocked(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    return [ObjectEvent(**_observed(said, subject, scene), step="storing", disposition="in_progress")]


BALL_EVENTS: Mapping[type, Callable[[SaidFact, str, Scene], list[Event]]] = {
    UnitStarted: _worked,
    UnitWorked: _worked,
    BallEngraved: _engraved,
    BallEngravedAnew: _engraved_anew,
    Inspection: _inspected,
    Release: _released,
    Regrade: _released,
    Rework: _reworked,
    Scrap: _scrapped,
    Shipment: _shipped,
    Returned: _returned,
    Restocked: _restocked,
}
"""How each kind of record about a ball becomes events of the ball named."""
