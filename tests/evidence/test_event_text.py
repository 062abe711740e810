"""Events of balls that are told quickly are those that are told in full, to the byte."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.evidence.event_facts import SaidFact
from ledger.evidence.event_hash import event_text
from ledger.evidence.event_names import Named, Plant
from ledger.evidence.event_readings import log_element
from ledger.evidence.event_shapes import event_json
from ledger.evidence.event_text import QUICK, BallTexts, Cure, cure_elements
from ledger.evidence.events_of_balls import BALL_EVENTS, Scene
from ledger.evidence.judged import Judged
from ledger.line.balls import BallEngraved, UnitStarted, UnitWorked
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.inspections import Inspection, Reading
from ledger.line.record import Record
from ledger.line.releases import Regrade, Release, Rework
from ledger.line.shipments import Restocked
from ledger.line.temperature_summary import Summary
from tests.strategies import ids, instants

PLANT = Plant("https://id.example.com", "books.example/plant-1")
TEXTS = BallTexts(PLANT)
"""One for all examples, so that what it kept of other balls is used."""

NAMES = [
    Named(PLANT, {"SL-1": "shell"}, {"SL-1": "09521234543213"}),
    Named(PLANT, {"SL-1": "shell", "SL-2": "shell"}, {}),
    Named(PLANT, {"SL-1": "batch"}, {}),
]
SUMMARY = Summary(
    readings=60, first_at="2026-01-02T00:00:00.000+00:00", last_at="2026-01-03T00:00:00.000+00:00", coldest_c="19.5",
    warmest_c="23.25", covered_ms=86_400_000, longest_ms=1_500_000, gap_limit_s=3_600,
)  # fmt: skip
LOG = log_element(
    TemperatureLogged(
        at=SUMMARY.last_at, lot="SL-1", stage="final-cure", digest="d" * 64, length=4_000, summary=SUMMARY
    ),
    PLANT,
)
STANDINS = ["9ZSTANDINSERIAL9Z000", "9Z.STANDIN-UNIT.9Z", "98732415967", "9873241"]
few = st.sampled_from
units = ids | few(["U-1", *STANDINS])
serials = few(["A1", "7", "A/B", "D 1", "é1", "ab12CD34ab12CD34ab12", *STANDINS[:1]]) | st.text(
    "AB01", min_size=1, max_size=20
)
decimals = few(["0", "15.29", "-1.50", "98732415.967", "0.000001"])
stations = few(["E-1", "E-2", *STANDINS[1:]])
lots = few(["SL-1", "SL-2"])
places = st.just(UNSET) | st.integers(1, 3) | st.just(9_873_241 % 1_000_000)
readings = st.builds(
    Reading,
    quantity=few(["mass", "hardness", "roughness", "rg_low"]),
    unit=few(["lb", "kg"]),
    values=st.lists(decimals, min_size=1, max_size=3).map(tuple),
    gauge=stations,
    statistic=few(["mean", "median", "range"]),
    expanded=st.just(UNSET) | decimals,
)
conditions = {
    name: st.just(UNSET) | few(["21.5", "0"]) for name in ("temperature_c", "humidity_percent", "delay_s")
}  # fmt: skip
records: st.SearchStrategy[Record] = st.one_of(
    st.builds(UnitStarted, at=instants(), unit=units, lot=lots, station=stations, place=places),
    st.builds(UnitWorked, at=instants(), unit=units, step=few(["turned", "sanded"]), station=stations),
    st.builds(
        BallEngraved, at=instants(), unit=units, lot=lots, serial=serials, weight_class=few([14, 15]), station=stations,
        place=places,
    ),
    st.builds(
        Inspection, at=instants(), unit=units, station=stations, surface=st.just(UNSET) | few(["polished"]),
        readings=st.lists(readings, min_size=1, max_size=4).map(tuple), **conditions,
    ),
    st.builds(
        Release, at=instants(), unit=units, grade=few(["first", "demo"]), readings=few(["a" * 64, "b" * 64]),
        plan=st.just("1.0"), bases=st.just(()),
    ),
    st.builds(Regrade, at=instants(), unit=units, grade=few(["house"]), reason=few(["chip", "urn.standin", "9873241"])),
    st.builds(Rework, at=instants(), unit=units, operation=few(["plug", "polish"]), station=stations),
    st.builds(Restocked, at=instants(), unit=units),
)  # fmt: skip
cures = st.builds(Cure, instants(), st.just("") | instants(), few([(), (LOG,)]))
judgements: st.SearchStrategy[list[Judged]] = st.lists(
    st.tuples(few(["e" * 64, "f" * 64]), few(["conforms", "undecided", "does_not_conform"]), few(["7.0", "7.1"])),
    max_size=3,
)


@st.composite
def told(draw: st.DrawFn) -> tuple[SaidFact, Scene, Cure]:
    """A fact about a ball, in the scene of the ball and with the cure of its lot."""
    record: Any = draw(records)
    fact = draw(few(["7.0", "7.1", "98732415967.0", "12.3"]))
    said = SaidFact(fact, fact, record, stands=True, recorded_at=draw(instants()), told=frozenset(), breaches=())
    numbers = draw(st.lists(st.tuples(few(["6.0", "8.0"]), serials), max_size=1))
    scene = Scene(named=draw(few(NAMES)), unit=record.unit, lot="SL-1", numbers=numbers, judged=draw(judgements))
    return said, scene, draw(cures)


def in_full(said: SaidFact, scene: Scene, cure: Cure) -> tuple[str, str]:
    """The texts of the event as `events_of_balls` makes it."""
    full = scene._replace(cure=cure_elements(cure, PLANT))
    (event,) = BALL_EVENTS[type(said.record)](said, f"unit:{said.record.unit}", full)
    return event_json(event), event_text(event, PLANT.terms)


@given(told())
def test_what_is_told_quickly_is_what_is_told_in_full(example: tuple[SaidFact, Scene, Cure]) -> None:
    """Whatever the records say, stand-ins among it, and whatever was kept of events before."""
    quickly = TEXTS.event(*example)
    assert quickly is None or in_full(*example) == tuple(quickly)


def test_plain_events_of_every_quick_kind_are_told_quickly() -> None:
    """Of a ball with its one number, and of the next one like it."""
    at = "2026-01-02T03:04:05.678+02:00"
    more: dict[str, Any] = {"unit": "U-1", "station": "E-1"}
    reading = Reading(quantity="mass", unit="lb", values=("15.29",), gauge="G-1")
    made: list[Any] = [
        UnitStarted(at=at, lot="SL-1", **more),
        UnitWorked(at=at, step="turned", **more),
        BallEngraved(at=at, lot="SL-1", serial="A1", weight_class=15, place=3, **more),
        Inspection(at=at, readings=(reading,), temperature_c="21", **more),
        Release(at=at, unit="U-1", grade="first", readings="a" * 64, plan="1.0", bases=()),
        Regrade(at=at, unit="U-1", grade="demo", reason="chip"),
        Rework(at=at, operation="plug", **more),
        Restocked(at=at, unit="U-1"),
    ]
    texts, cure = BallTexts(PLANT), Cure(at, at, ())
    assert {type(record) for record in made} == QUICK
    for unit in ("U-1", "U-2"):
        scene = Scene(named=NAMES[0], unit=unit, lot="SL-1", numbers=[("1.0", "A1")])
        for record in made:
            own = msgspec.structs.replace(record, unit=unit)
            said = SaidFact("7.0", "7.0", own, stands=True, recorded_at=at, told=frozenset(), breaches=())
            assert in_full(said, scene, cure) == tuple(texts.event(said, scene, cure) or ())


def test_what_says_a_stand_in_itself_is_told_in_full() -> None:
    """So that nothing that a record says is taken for what is a ball's own."""
    said = SaidFact(
        "7.0", "7.0", Regrade(at="2026-01-02T03:04:05.678+00:00", unit="U-1", grade="demo", reason="9873241"),
        stands=True, recorded_at="2026-01-02T03:04:05.678+00:00", told=frozenset(), breaches=(),
    )  # fmt: skip
    scene = Scene(named=NAMES[0], unit="U-1", lot="SL-1", numbers=[("1.0", "A1")])
    assert BallTexts(PLANT).event(said, scene, Cure("", "", ())) is None
