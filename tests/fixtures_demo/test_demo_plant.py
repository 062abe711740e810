"""The invented plant: its size, that it is the same each time, and that its book is right."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

from fixtures_demo.build import DemoBook, build_demo_book
from fixtures_demo.days import DAYS, DEMO_NOW, FIRST, LAST, WORKDAYS, clock, told
from fixtures_demo.gauges import MEASURES
from fixtures_demo.models import INSPECTED, MODELS
from fixtures_demo.plant import SEED
from ledger.application.pourbook import Pourbook
from ledger.book.instant import instant_ms
from ledger.line.gs1 import check_gtin14
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls


def said(file: str, limit: int = 1_000_000) -> list[tuple[str, Any, object]]:
    """What each entry says, when, and what was wrong with it: all but who said it and the links."""
    from ledger.store.engine import open_store  # noqa: PLC0415  # one test's own look into the store

    store = open_store(f"sqlite:///{file}")
    try:
        with open_reader(store) as reader:
            entries = [json.loads(entry.bytes) for entry in itertools.islice(reader.entries(0, 10_000), limit)]
    finally:
        store.close()
    return [(entry["recorded_at"], entry["said"], entry["breaches"]) for entry in entries]


def test_story_covers_ninety_days() -> None:
    """The story runs over 90 days, 65 of them working days."""
    assert (DAYS, len(WORKDAYS)) == (90, 65)
    assert told(clock(FIRST, "08:00")) == "2026-08-03T08:00:00.000+02:00"
    assert told(DEMO_NOW) == "2026-10-31T10:00:00.000+01:00"


def test_clock_goes_back_in_the_story() -> None:
    """The same wall clock reading is 25 hours later on the day on which clocks go back."""
    days = [LAST.replace(day=24), LAST.replace(day=25)]
    assert clock(days[1], "12:00") - clock(days[0], "12:00") == 25 * 3_600_000


def test_plant_has_three_models_of_both_sorts() -> None:
    """One symmetric and two asymmetric models, each with a GTIN of the range for examples."""
    assert sorted(model.core for model in MODELS) == ["asymmetric", "asymmetric", "symmetric"]
    for model in MODELS:
        check_gtin14(model.gtin)
        assert model.gtin.startswith("0952")


def test_plant_is_of_its_stated_size(demo_book: Pourbook) -> None:
    """About 3,000 balls in 77 shell lots, and every stage of the line is told."""
    standing = demo_book.standing()
    assert 2_900 <= sum(standing.balls.values()) <= 3_100
    assert standing.lots["shell"] == 77
    stages = {"material-received", "batch-mixed", "blocks-moulded", "cores-poured", "shells-poured", "lot-worked"}
    ends = {"ball-engraved", "inspection", "release", "shipment", "claim-opened", "lot-closed", "serials-allotted"}
    assert stages | ends <= set(standing.facts)


def test_every_ball_was_read_eight_times(demo_book: Pourbook) -> None:
    """Each registration reads the eight quantities of the inspection plan, in the units of its gauges."""
    assert set(INSPECTED) == set(MEASURES)
    assert len(INSPECTED) == 8
    with open_reader(demo_book.store) as reader:
        selected = select_balls(reader.transaction, Selection())
    unread = [one.unit.unit for one in selected if one.measured is None or any(
        getattr(one.measured, quantity) is None for quantity in INSPECTED)]  # fmt: skip
    assert unread == []


def test_some_balls_lie_on_a_limit(demo_book: Pourbook) -> None:
    """Among the readings some meet a limit exactly, and some fail it."""
    tally = demo_book.conformity(Selection(), "usbc-2026").tally
    assert tally.overall["does_not_conform"] > 0
    assert any(ball.margin == "0" for ball in tally.worst["usbc.weight"])


def test_book_of_the_plant_is_right(demo_book: Pourbook) -> None:
    """The whole book checks: chain, tree, openings, checkpoint, and views equal to what its entries give."""
    report = demo_book.check()
    assert report.views_compared
    assert report.checkpoint_size == report.entries


def test_same_seed_gives_the_same_facts(demo: DemoBook, tmp_path: Path) -> None:
    """Two buildings from one seed say the same at the same instants, and the book finds the same wrong.

    But for what is said about drawn samples: which they are follows from the root of the tree, which is another each time.
    """
    again = build_demo_book(tmp_path, seed=SEED)
    assert [_but_drawn(one) for one in said(demo.file)] == [_but_drawn(one) for one in said(again.file)]
    assert demo.notes == again.notes


def _but_drawn(one: tuple[str, Any, object]) -> tuple[object, ...]:
    recorded_at, told_then, breaches = one
    return (recorded_at,) if told_then["key"].startswith("af-") else (recorded_at, told_then, breaches)


def test_nothing_is_recorded_before_it_happened(demo: DemoBook) -> None:
    """No record is ahead of the clock that it was taken under."""
    early = [
        record
        for recorded_at, told_then, _ in said(demo.file)
        for record in told_then["records"]
        if instant_ms(record["at"]) > instant_ms(recorded_at)
    ]
    assert early == []
