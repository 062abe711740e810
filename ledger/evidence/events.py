"""The history of one ball, or of one lot, as a document of EPCIS 2.0 events.

A ball's document has its own events and those of every lot that it descends from, in the order in which things happened; a
lot's has its own, those of the lots above it, and what was made of it.  A body of a fact that a correction replaced or
withdrew is told with an error declaration that names the events in its place, so that the document may be given to somebody
who has an earlier one.  Whether a ball was conformant when it was inspected is said by the verdicts as they stand now.

Pure, and a function of the entries taken and of what of them may be told: the verifier of a dossier makes a document again
and compares the bytes.  What no event is made of: numbers allotted, samples and models judged, lots closed, claims, cases,
gauges, and holds by rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

import msgspec
from msgspec import Raw

from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import DossierRejected
from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.event_facts import EventFacts, SaidFact
from ledger.evidence.event_hash import event_hash, hash_of
from ledger.evidence.event_names import Named, Plant, ball_address
from ledger.evidence.event_readings import log_element
from ledger.evidence.event_shapes import (
    CONTEXT,
    ErrorDeclaration,
    Event,
    Prefix,
    Sensed,
    WrittenBody,
    WrittenDocument,
    event_json,
    format_events,
)
from ledger.evidence.event_text import BallTexts, Cure, cure_elements
from ledger.evidence.events_of_balls import BALL_EVENTS, Scene
from ledger.evidence.events_of_holds import HOLD_EVENTS, breach_event
from ledger.evidence.events_of_lots import LOT_EVENTS
from ledger.evidence.judged import Judged
from ledger.line.balls import BallEngraved, BallEngravedAnew, UnitStarted
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.fact import parse_address
from ledger.line.lot_changes import CURED_STEPS, LotWorked
from ledger.line.rows import Lot

KEPT_LOTS = 2_000
"""Histories of lots kept for the next ball."""

_KEPT_SCOPES = 2_000
"""Ways back through the lots for which these histories are kept together."""


class Told(NamedTuple):
    """An event as JSON, with its hash; ``at_ms`` and ``place`` put events in order.

    ``entered_at``: when it was entered; ``wrong_at``: since when it is known to be told wrongly, empty where it is not.
    """

    at_ms: int
    place: tuple[int, ...]
    text: str
    hash: str
    entered_at: str
    wrong_at: str = ""


class _Scope(NamedTuple):
    """What the documents of balls with one way back through the lots share.

    ``told``: the events of the lots, once a ball asked for them; ``held`` keeps what the scope is known by from being another thing at the same place in memory.
    """

    named: Named
    lots: Sequence[str]
    possible: Sequence[str]
    told: list[Told]
    held: tuple[object, ...]


class LotStory(NamedTuple):
    """A lot, every lot that its events name (itself too), and the GTIN of those of finished balls."""

    lot: str
    above: Sequence[str]
    possible: Sequence[str]
    lots: Mapping[str, Lot]
    gtins: Mapping[str, str]


class Events:
    """Makes documents from the facts taken by ``facts``."""

    def __init__(self, plant: Plant, facts: EventFacts) -> None:
        """Events of ``plant``."""
        self._plant = plant
        self._facts = facts
        self._lots: dict[tuple[str, str], list[Told]] = {}
        self._cures: dict[str, tuple[list[str], tuple[Sensed, ...]]] = {}
        self._scopes: dict[tuple[object, ...], _Scope] = {}
        self._texts = BallTexts(plant)

    def of_ball(self, rows: BallRows, judged: Sequence[Judged], *, quickly: bool = True) -> bytes:
        """The document of a ball with the verdicts of its sheet. Raises DossierRejected where nothing is told of it.

        ``quickly``: its own events are put together from texts that are kept (`event_text`), where that can be; they are
        the same.
        """
        unit, scope = rows.unit, self._scope(rows)
        node = f"unit:{unit.unit}"
        standing = self._standing(node)
        scene = Scene(named=scope.named, unit=unit.unit, lot=unit.lot, numbers=_numbers(node, standing), judged=judged)
        cure = self._cure(standing, rows.lots[unit.lot])
        own = self._quickly(standing, scene, cure) if quickly else None
        if own is None:
            full = scene._replace(cure=cure_elements(cure, self._plant))
            own = self._history(node, [said.fact for said in standing], full)
        if not scope.told:
            scope.told.extend(one for name in scope.lots for one in self._lot(name, scope.named, rows.model.gtin))
        subject = ball_address(self._plant, unit, rows.model.gtin)
        return self._document(subject, own + scope.told, scope.possible)

    def _scope(self, rows: BallRows) -> _Scope:
        """What the ball's document shares with those of other balls."""
        key = (rows.unit.lot, id(rows.trace), id(rows.model))
        found = self._scopes.get(key)
        if found is None:
            if len(self._scopes) >= _KEPT_SCOPES:
                self._scopes.clear()
            found = self._scopes[key] = self._make_scope(rows)
        return found

    def _make_scope(self, rows: BallRows) -> _Scope:
        model = rows.model
        lots = {name: rows.lots[name] for name in (rows.unit.lot, *(one.lot for one in rows.trace.ancestors))}
        shells = [name for name, row in lots.items() if row.stage == "shell" and row.model == model.model]
        named = Named(self._plant, {name: row.stage for name, row in lots.items()}, dict.fromkeys(shells, model.gtin))
        possible = [named.lot(one.lot) for one in rows.trace.ancestors if one.certainty == "possible"]
        return _Scope(named, tuple(lots), possible, [], (rows.trace, model))

    def _quickly(self, standing: Iterable[SaidFact], scene: Scene, cure: Cure) -> list[Told] | None:
        """A ball's own events out of texts that are kept; None where one of them has to be told in full."""
        told = []
        for said in standing:
            texts = self._texts.event(said, scene, cure) if self._facts.is_said_once(said.fact) else None
            if texts is None:
                return None
            place = (*parse_address(said.fact), 0, 0)
            told.append(Told(instant_ms(said.record.at), place, texts.json, hash_of(texts.hashed), said.recorded_at))
        return told

    def of_lot(self, story: LotStory) -> bytes:
        """The document of a lot. Raises DossierRejected where nothing is told of it."""
        named = Named(self._plant, {name: row.stage for name, row in story.lots.items()}, story.gtins)
        told: list[Told] = []
        for name in (story.lot, *story.above):
            told += self._lot(name, named, "")
        for fact in self._facts.uses_of(story.lot):
            for node in self._made(fact):
                told += self._history(node, [fact], self._scene(node, named, story.lots))
        return self._document(named.lot(story.lot), told, [named.lot(name) for name in story.possible])

    def _made(self, fact: str) -> Iterable[str]:
        """What the bodies of a fact made."""
        records = [body.record for body in self._facts.bodies(fact) if body.record is not None]
        return dict.fromkeys(node for record in records for node in self._facts.subjects(record))

    def _scene(self, node: str, named: Named, lots: Mapping[str, Lot]) -> Scene:
        sort, _, name = node.partition(":")
        lot = self._lot_of(name) if sort == "unit" else ""
        if lot not in lots:
            return Scene(named=named)
        standing = self._standing(node)
        cure = cure_elements(self._cure(standing, lots[lot]), self._plant)
        return Scene(named=named, unit=name, lot=lot, numbers=_numbers(node, standing), cure=cure)

    def _lot_of(self, unit: str) -> str:
        lots = [body.record.lot for body in self._standing(f"unit:{unit}") if isinstance(body.record, BallEngraved)]
        return str(lots[-1]) if lots else ""

    def _lot(self, name: str, named: Named, gtin: str) -> list[Told]:
        """The history of a lot; ``gtin``: that of the ball's model, by which lots of its own kind are named."""
        key = (name, gtin)
        found = self._lots.get(key)
        if found is None:
            if len(self._lots) >= KEPT_LOTS:
                self._lots.clear()
            node = f"lot:{name}"
            found = self._lots[key] = self._history(node, self._facts.facts_of(node), Scene(named=named))
        return found

    def _history(self, node: str, facts: Iterable[str], scene: Scene) -> list[Told]:
        told = []
        for fact in facts:
            bodies = self._facts.bodies(fact)
            versions = [_events(body, node, scene, self._facts) for body in bodies]
            for number, events in enumerate(versions):
                later = (bodies[number + 1], versions[number + 1]) if number + 1 < len(bodies) else None
                for part, event in enumerate(events):
                    stated = event if later is None else _in_error(event, *later)
                    told.append(self._told(stated, (*parse_address(fact), number, part)))
        return told

    def _told(self, event: Event, place: tuple[int, ...]) -> Told:
        error = event.error
        return Told(
            instant_ms(event.event_time),
            place,
            event_json(event),
            event_hash(event, self._plant.terms),
            event.record_time,
            error.time if isinstance(error, ErrorDeclaration) else "",
        )

    def _standing(self, node: str) -> list[SaidFact]:
        return [self._facts.bodies(fact)[-1] for fact in self._facts.facts_of(node)]

    def _cure(self, standing: Iterable[SaidFact], lot: Lot) -> Cure:
        """How a ball's shell lot cured: the time to the first step that the cure comes before, and what was logged."""
        if lot.lot not in self._cures:
            self._cures[lot.lot] = self._lot_cure(lot.lot)
        steps, logs = self._cures[lot.lot]
        own = [body.record.at for body in standing if isinstance(body.record, UnitStarted | BallEngraved)]
        ends = [(instant_ms(at), at) for at in (*steps, *own) if instant_ms(at) >= lot.ended_ms]
        return Cure(_instant_text(lot.ended_ms), min(ends)[1] if ends else "", logs)

    def _lot_cure(self, lot: str) -> tuple[list[str], tuple[Sensed, ...]]:
        records = [body.record for body in self._standing(f"lot:{lot}")]
        steps = [one.began_at for one in records if isinstance(one, LotWorked) and one.step in CURED_STEPS]
        logs = [one for one in records if isinstance(one, TemperatureLogged) and one.stage == "final-cure"]
        return steps, tuple(log_element(one, self._plant) for one in logs)

    def _document(self, subject: str, told: list[Told], possible: Sequence[str]) -> bytes:
        if not told:
            raise DossierRejected("no entry here tells anything of it", where=subject)
        told = sorted(told, key=_order)
        known = [one.entered_at for one in told]
        known += [one.wrong_at for one in told if one.wrong_at]
        return format_events(
            WrittenDocument(
                context=(CONTEXT, Prefix(pb=self._plant.terms)),
                type="EPCISDocument",
                version="2.0",
                created=max(known, key=instant_ms),
                book=self._plant.origin,
                subject=subject,
                possible=tuple(sorted(possible)),
                hashes=tuple(one.hash for one in told),
                body=WrittenBody(events=tuple(Raw(one.text.encode()) for one in told)),
            )
        )


def _numbers(node: str, standing: Iterable[SaidFact]) -> list[tuple[str, str]]:
    """The facts that gave the ball a number, and the numbers."""
    return [
        (body.fact, body.record.serial)
        for body in standing
        if isinstance(body.record, BallEngraved | BallEngravedAnew) and f"unit:{body.record.unit}" == node
    ]


_order = itemgetter(0, 1)
"""When it happened, and where it stands."""


@lru_cache(maxsize=4096)
def _instant_text(ms: int) -> str:
    return format_instant(Instant(ms, 0))


def _events(body: SaidFact, node: str, scene: Scene, facts: EventFacts) -> list[Event]:
    """The events that one body of a fact makes about a node."""
    found: list[Event] = []
    record = body.record
    if record is not None and node in facts.subjects(record):
        kind = type(record)
        if kind in HOLD_EVENTS:
            found = HOLD_EVENTS[kind](body, node, scene)
        elif node.startswith("unit:"):
            found = BALL_EVENTS[kind](body, node, scene)
        else:
            found = LOT_EVENTS[kind](body, node, scene.named)
    return found + [breach_event(body, breach, scene) for breach in body.breaches if breach.node == node]


def _in_error(event: Event, body: SaidFact, instead: Sequence[Event]) -> Event:
    """The event as told wrongly; ``instead``: what the next body of the fact says of the same thing."""
    error = ErrorDeclaration(
        time=body.recorded_at,
        reason="incorrect_data" if instead else "did_not_occur",
        corrective=tuple(other.event_id for other in instead),
    )
    return msgspec.structs.replace(event, error=error)
