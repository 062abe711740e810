"""Events of holds on a ball or a lot: placed by somebody, opened by a breach, lifted, or conceded.

A breach is a rule that was not kept, found when the fact was entered; its hold is told as an event of that moment.  That a
hold ended says nothing of others, so such an event has no disposition.  Holds that name a rule instead of a ball or a lot
are not told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ledger.evidence.event_facts import HoldingBreach, SaidFact
from ledger.evidence.event_shapes import Event, ObjectEvent
from ledger.evidence.events_of_balls import Scene
from ledger.evidence.events_of_lots import head
from ledger.line.holds import Concession, HoldLifted, HoldPlaced


def _placed(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: HoldPlaced = said.record
    return [
        ObjectEvent(
            **head(said, scene.named, subject),
            **scene.target(said.fact, subject),
            action="OBSERVE",
            step="holding",
            disposition="unavailable",
            reason=record.reason,
            hold=scene.named.plant.thing("hold", record.hold),
            stops=tuple(sorted(record.stops)),
        )
    ]


def _lifted(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: HoldLifted = said.record
    return [
        ObjectEvent(
            **head(said, scene.named, subject),
            **scene.target(said.fact, subject),
            action="OBSERVE",
            step=scene.named.plant.term("hold-lifted"),
            reason=record.reason,
            hold=scene.named.plant.thing("hold", record.hold),
        )
    ]


def _conceded(said: SaidFact, subject: str, scene: Scene) -> list[Event]:
    record: Concession = said.record
    return [
        ObjectEvent(
            **head(said, scene.named, subject),
            **scene.target(said.fact, subject),
            action="OBSERVE",
            step=scene.named.plant.term("conceded"),
            reason=record.reason,
        )
    ]


def breach_event(said: SaidFact, breach: HoldingBreach, scene: Scene) -> Event:
    """The hold that a breach of a fact opened when it was entered."""
    named = scene.named
    return ObjectEvent(
        event_id=named.plant.event_id(said.where, breach.node, breach.hold),
        event_time=said.recorded_at,
        offset=said.recorded_at[-6:],
        record_time=said.recorded_at,
        record=named.plant.record(said.where),
        **scene.target(said.fact, breach.node, after=True),
        action="OBSERVE",
        step="holding",
        disposition="unavailable",
        reason=breach.code,
        hold=named.plant.thing("hold", breach.hold),
        stops=("release", "shipment"),
    )


HOLD_EVENTS: Mapping[type, Callable[[SaidFact, str, Scene], list[Event]]] = {
    HoldPlaced: _placed,
    HoldLifted: _lifted,
    Concession: _conceded,
}
"""How each kind of record about a hold becomes events of the ball or lot that it is on."""
