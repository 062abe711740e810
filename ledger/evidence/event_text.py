"""The texts of a ball's events, made quickly where the balls of a lot are like each other.

What is given is the JSON and the hashed text of the events that `events_of_balls` makes, to the byte. Most of an event
follows from few things: the kind of record, the station, the lot, how it was judged. So an event is made once, by the same
functions, of a record in which a stand-in is in the place of what is a ball's own (instants, place in the book, id,
number, seat in its mould), and its texts are put together again for each ball. A reading is a text of its own, since the
same values come again.

An event is kept only if its texts, put together for the ball that it was made of, are those of that ball, and no stand-in
is found in these: then nothing that a record says can take the place of a stand-in. A ball of which anything is odd
(facts corrected, breaches, several numbers, numbers that an address escapes) is left to be told in full.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import cache
from operator import attrgetter
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from ledger.evidence.event_facts import SaidFact
from ledger.evidence.event_hash import element_text, event_text, number_text, utc_text
from ledger.evidence.event_names import Plant
from ledger.evidence.event_readings import (
    Conditions,
    conditions_element,
    elapsed_element,
    minutes_between,
    minutes_element,
    reading_element,
)
from ledger.evidence.event_shapes import Metadata, Sensed, event_fields, event_json
from ledger.evidence.events_of_balls import BALL_EVENTS, Scene, judged_by_fact
from ledger.line.balls import BallEngraved, UnitStarted, UnitWorked
from ledger.line.inspections import Inspection, Reading
from ledger.line.record import Record
from ledger.line.releases import Regrade, Release, Rework
from ledger.line.shipments import Restocked

QUICK = frozenset({UnitStarted, UnitWorked, BallEngraved, Inspection, Release, Regrade, Rework, Restocked})
"""The kinds whose events are told here: one event each, about the ball alone."""

_OWN = frozenset(
    {"at", "unit", "serial", "place", "readings", "temperature_c", "humidity_percent", "delay_s", "bases", "note"}
)
"""The fields of a record that are a ball's own, or are not told; readings and their conditions are texts of their own."""

_AT, _RECORDED, _INDEX = "9871-02-03T04:05:06.007", "9872-03-04T05:06:07.008+00:00", "98732415967"
_AT_UTC = f"{_AT}+00:00"
_UNIT, _SERIAL, _PLACE = "9Z.STANDIN-UNIT.9Z", "9ZSTANDINSERIAL9Z000", 9_873_241
_SENSED = Sensed(metadata=Metadata(device="urn:standin:9z-sensed"), report=())
_MINUTES = Decimal("98732415.967")
_STANDINS = (_AT, _RECORDED, _INDEX, _UNIT, _SERIAL, str(_PLACE), "urn:standin:9z-sensed")

_SAFE_SERIAL = re.compile(r"[0-9A-Za-z]{1,20}", re.ASCII)
"""Stands in an address as it is, and no address with it is longer than the one with the stand-in."""

_NOT_STATED: Conditions = (UNSET, UNSET, UNSET)

_KEPT_EVENTS = 2_000
_KEPT_READINGS = 10_000
"""Each some kilobyte."""


class Texts(NamedTuple):
    """An event, or a part of one, as JSON and as the text that is hashed."""

    json: str
    hashed: str


class Cure(NamedTuple):
    """How a ball's shell lot cured: from when, until when if anything ended it, and what was logged meanwhile."""

    began_at: str
    ended_at: str
    logs: tuple[Sensed, ...]


Parts = tuple[str | int, ...]
"""Texts, and in turn with them the places of what stands between among the values of a ball."""


class _Made(NamedTuple):
    json: Parts
    hashed: Parts

    def filled(self, in_json: Sequence[str], in_hashed: Sequence[str]) -> Texts:
        """The texts with the values of a ball in the place of the stand-ins."""
        json = "".join([in_json[part] if type(part) is int else part for part in self.json])  # type: ignore[misc]  # told apart by their type
        hashed = "".join([in_hashed[part] if type(part) is int else part for part in self.hashed])  # type: ignore[misc]  # likewise
        return Texts(json, hashed)


class _Element(NamedTuple):
    """A sensor element in pieces, between which the instant of the reading stands."""

    json: list[str]
    hashed: list[str]


class BallTexts:
    """Makes the texts of the events of balls of one plant."""

    def __init__(self, plant: Plant) -> None:
        """Nothing is made yet."""
        self._plant = plant
        self._events: dict[tuple[Any, ...], _Made | None] = {}
        self._sensed: dict[Any, _Element] = {}
        self._cures: dict[str, _Made] = {}

    def event(self, said: SaidFact, scene: Scene, cure: Cure) -> Texts | None:
        """The texts of the event of the one body of a fact about a ball; None for what has to be told in full."""
        record: Any = said.record
        kind: type[Record] = type(record)
        own_number = record.serial if kind is BallEngraved else ""
        number = own_number or (scene.number_at(said.fact) if scene.numbers else "")
        if (
            kind not in QUICK
            or said.breaches
            or said.told
            or len(scene.numbers) > 1
            or (number and _SAFE_SERIAL.fullmatch(number) is None)
        ):
            return None
        sensed = self._sensed_of(record, cure)
        judged = tuple(dict.fromkeys(judged_by_fact(said, scene))) if kind is Inspection else ()
        index, _, position = said.where.partition(".")
        at, place = record.at, getattr(record, "place", UNSET)
        key = (
            *(kind, at[-6:], position, bool(number), place is UNSET, bool(sensed), judged),
            *_named(scene, scene.lot),
            *_named(scene, getattr(record, "lot", "")),
            _others(kind)(record),
        )
        values = (
            at,
            said.recorded_at,
            index,
            self._plant.event_id(said.where, f"unit:{record.unit}"),
            record.unit,
            number,
            str(place),
        )
        in_json = (*values, ",".join([json for json, _ in sensed]))
        in_hashed = (utc_text(at), *values[1:], "".join(sorted([hashed for _, hashed in sensed])))
        if key not in self._events:
            if len(self._events) >= _KEPT_EVENTS:
                self._events.clear()
            self._events[key] = self._make(said, scene, cure, (in_json, in_hashed))
        made = self._events[key]
        return None if made is None else made.filled(in_json, in_hashed)

    def _make(
        self, said: SaidFact, scene: Scene, cure: Cure, values: tuple[Sequence[str], Sequence[str]]
    ) -> _Made | None:
        """The event with stand-ins; None where it cannot be trusted to be that of other balls too."""
        record = said.record
        changed = {"at": _AT + record.at[-6:], "unit": _UNIT, "serial": _SERIAL, "place": _PLACE}
        own = {name: text for name, text in changed.items() if getattr(record, name, UNSET) is not UNSET}
        where = f"{_INDEX}.{said.where.partition('.')[2]}"
        like = said._replace(where=where, record=msgspec.structs.replace(record, **own), recorded_at=_RECORDED)
        numbers = [(fact, _SERIAL) for fact, _ in scene.numbers]
        maker = BALL_EVENTS[type(record)]
        full = scene._replace(cure=cure_elements(cure, self._plant))
        direct = maker(said, f"unit:{record.unit}", full)
        stands = maker(like, f"unit:{_UNIT}", scene._replace(unit=_UNIT, numbers=numbers, cure=(_SENSED,)))
        if len(direct) != 1 or len(stands) != 1:
            return None
        event = stands[0]
        if event.sensed:
            event = msgspec.structs.replace(event, sensed=(_SENSED,) if direct[0].sensed else ())
        sensed = event_fields(_SENSED)
        marks = (event.event_time, _RECORDED, _INDEX, event.event_id, _UNIT, _SERIAL, str(_PLACE))
        made = _Made(
            _split(event_json(event), (*marks, event_json(_SENSED))),
            _split(event_text(event, self._plant.terms), (utc_text(marks[0]), *marks[1:], element_text(sensed))),
        )
        json, hashed = event_json(direct[0]), event_text(direct[0], self._plant.terms)
        is_right = made.filled(*values) == (json, hashed)
        return made if is_right and not any(text in json or text in hashed for text in _STANDINS) else None

    def _sensed_of(self, record: Any, cure: Cure) -> list[tuple[str, str]]:
        """The sensor elements of an event, as `Texts`: readings and their conditions, or how the lot cured."""
        if type(record) is BallEngraved:
            return self._cured(cure)
        if type(record) is not Inspection:
            return []
        at, utc = record.at, utc_text(record.at)
        elements = [self._sensed.get(one) or self._reading(one) for one in record.readings]
        stated = (record.temperature_c, record.humidity_percent, record.delay_s)
        if stated != _NOT_STATED:
            elements.append(self._sensed.get(stated) or self._stated(stated))
        return [(at.join(json), utc.join(hashed)) for json, hashed in elements]

    def _reading(self, reading: Reading) -> _Element:
        return self._keep(reading, reading_element(_AT_UTC, reading, self._plant))

    def _stated(self, stated: Conditions) -> _Element:
        return self._keep(stated, conditions_element(_AT_UTC, stated, self._plant) or _SENSED)

    def _keep(self, key: Reading | Conditions, stands: Sensed) -> _Element:
        if len(self._sensed) >= _KEPT_READINGS:
            self._sensed.clear()
        hashed = element_text(event_fields(stands)).split(utc_text(_AT_UTC))
        made = self._sensed[key] = _Element(event_json(stands).split(_AT_UTC), hashed)
        return made

    def _cured(self, cure: Cure) -> list[tuple[str, str]]:
        texts: list[tuple[str, str]] = [(event_json(log), element_text(event_fields(log))) for log in cure.logs]
        if not cure.ended_at:
            return texts
        made = self._cures.get(cure.began_at)
        if made is None:
            if len(self._cures) >= _KEPT_EVENTS:
                self._cures.clear()
            stands = minutes_element(cure.began_at, _AT_UTC, self._plant.term("final-cure"), _MINUTES)
            marks = (_AT_UTC, str(_MINUTES))
            hashed = _split(element_text(event_fields(stands)), (utc_text(marks[0]), number_text(_MINUTES)))
            made = self._cures[cure.began_at] = _Made(_split(event_json(stands), marks), hashed)
        minutes = minutes_between(cure.began_at, cure.ended_at)
        values = (cure.ended_at, str(minutes)), (utc_text(cure.ended_at), number_text(minutes))
        return [made.filled(*values), *texts]


def cure_elements(cure: Cure, plant: Plant) -> tuple[Sensed, ...]:
    """The same as sensor elements."""
    if not cure.ended_at:
        return cure.logs
    return (elapsed_element(cure.began_at, cure.ended_at, plant.term("final-cure")), *cure.logs)


def _named(scene: Scene, lot: str) -> tuple[str, str | None, str | None]:
    """What the address of a lot, and of its balls, depends on."""
    return lot, scene.named.stages.get(lot), scene.named.gtins.get(lot)


@cache
def _others(kind: type[Record]) -> Callable[[Any], Any]:
    """The values of a record's fields that are not a ball's own."""
    return attrgetter(*(name for name in kind.__struct_fields__ if name not in _OWN))


def _split(text: str, marks: Sequence[str]) -> Parts:
    """The text in parts, with the place of a mark among the marks wherever it stood."""
    pattern = "|".join(f"({re.escape(mark)})" for mark in marks)
    parts: list[str | int] = []
    end = 0
    for found in re.finditer(pattern, text):
        parts += [text[end : found.start()], (found.lastindex or 0) - 1]
        end = found.end()
    return (*parts, text[end:])
