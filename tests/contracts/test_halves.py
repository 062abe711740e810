"""A selection read in two halves by two processes gives the answer of one, on each database."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import msgspec
import pytest

from ledger.application.conformity_query import conformity_of
from ledger.application.halves import Halves
from ledger.application.impact_of_correction import impact_of_correction
from ledger.application.impact_of_gauge import impact_of_gauge
from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.application.reading_process import Beside, ReadingProcess
from ledger.store.columns import middle_unit
from ledger.store.engine import Store
from ledger.store.long_look import open_long_reader
from ledger.store.reader import Reader
from ledger.store.selections import Selection
from ledger.store.writer import Writer
from tests.contracts import halves_asked
from tests.plant import AT, registration, said

BALLS = 41
WRONG = "2026-03-05T08:00:00.000+00:00"
LATE = "2026-03-09T08:00:00.000+00:00"
SIDES = Under("usbc-2012"), Under("usbc-2026")
ALL = Selection()


@pytest.fixture
def stocked(writer: Writer) -> Writer:
    """Balls of many weights, some read again or in another way, some away, some never read; their gauge found wrong."""
    for number in range(1, BALLS + 1):
        writer.submit(registration(number), "a-lead").result(30)
    weighed = {"kind": "inspection", "at": AT, "station": "E1"}
    reading = {"quantity": "mass", "unit": "lb", "gauge": "G1"}
    for number in range(1, BALLS + 1, 3):
        stated = {"expanded": "0.02"} if number % 2 else {}
        values = {"values": [f"{14.9 + number % 13 / 10:.1f}"], **stated}
        record = {**weighed, "unit": f"U-{number:06d}", "readings": [{**reading, **values}]}
        writer.submit(said(f"again-{number}", record), "a-lead").result(30)
    for number in (0, 20, 99):
        alone = {"kind": "unit-started", "at": AT, "unit": f"U-{number:06d}-N", "lot": "SL-1", "station": "T-1"}
        writer.submit(said(f"alone-{number}", alone), "a-lead").result(30)
    sent = {"kind": "shipment", "at": AT, "purpose": "sample", "consignee": "A shop", "shipment": "SH-1"}
    writer.submit(said("sent", {**sent, "units": ["U-000002", "U-000039"]}), "a-lead").result(30)
    wrong = {"kind": "gauge-calibrated", "at": WRONG, "gauge": "G1", "as_found_good": False, "due_at": LATE}
    writer.submit(said("wrong", {**wrong, "as_found": "-0.4"}), "a-lead").result(30)
    return writer


class Counting(Beside):
    """Counts the halves that the other process answered."""

    answered = 0

    def begin(self, *asked: Any) -> Future[Any]:
        """As ever."""
        future = super().begin(*asked)
        self.answered += future.result(60) is not None
        return future


@pytest.fixture
def beside(store: Store) -> Iterator[Counting]:
    """A second process, for selections of more than ten balls."""
    opened = Counting(store.url, over=10)
    yield opened
    opened.close()


def questions(reader: Reader) -> list[Any]:
    """The answers that are worked out over many balls."""
    return [
        conformity_of(reader, ALL, "usbc-2026"),
        conformity_of(reader, Selection(state="engraved", after="U-000005"), "usbc-2026", listed=4),
        impact_of_rules(reader, ALL, *SIDES, listed=5),
        impact_of_rules(reader, ALL, *SIDES, listed=1000),
        impact_of_gauge(reader, "G1", "usbc-2026", listed=7),
        impact_of_gauge(reader, "G1", "usbc-2026", bias="0.3", listed=1000),
    ]


@pytest.mark.usefixtures("stocked")
def test_two_halves_are_the_whole(store: Store, beside: Counting) -> None:
    """Every count, every worst ball and every list is the same to the byte, and the other process did its half."""
    with open_long_reader(store) as reader:
        alone = [msgspec.json.encode(one) for one in questions(reader)]
    with open_long_reader(store, beside) as reader:
        assert alone == [msgspec.json.encode(one) for one in questions(reader)]
    assert len(alone) == beside.answered


def test_a_correction_of_a_gauge_is_read_in_halves(store: Store, stocked: Writer, beside: Counting) -> None:
    """What a corrected calibration changes is counted over both halves."""
    with open_long_reader(store) as reader:
        fact = reader.facts_about("gauge:G1")[-1].address
    good = {"kind": "gauge-calibrated", "at": WRONG, "gauge": "G1", "as_found_good": True, "due_at": LATE}
    fix = {"kind": "correction", "at": LATE, "reason": "typing", "changes": [{"fact": fact, "replacement": good}]}
    stocked.submit(said("fix", fix), "a-lead").result(30)
    with open_long_reader(store) as reader:
        alone = impact_of_correction(reader, fact, "usbc-2026", listed=9)
    with open_long_reader(store, beside) as reader:
        assert alone == impact_of_correction(reader, fact, "usbc-2026", listed=9)
    assert (BALLS, 1) == (alone.balls, beside.answered)


def test_halves_of_two_heads_are_not_put_together(store: Store, stocked: Writer, beside: Counting) -> None:
    """A book that went on while the first look lasted: the first look reads both halves."""
    with open_long_reader(store) as reader:
        before = conformity_of(reader, ALL, "usbc-2026")
    with open_long_reader(store, beside) as reader:
        assert BALLS + 3 == conformity_of(reader, ALL, "usbc-2026").tally.balls
        stocked.submit(registration(BALLS + 1), "a-lead").result(30)
        assert before == conformity_of(reader, ALL, "usbc-2026")
    assert 1 == beside.answered


@pytest.mark.usefixtures("stocked")
def test_without_a_second_process_one_answers(store: Store, tmp_path: Path) -> None:
    """A process that cannot open the store, and one that ends in the middle, leave the whole to the first."""
    broken = Counting(f"sqlite:///{tmp_path / 'none' / 'book.sqlite'}", over=10)
    with open_long_reader(store) as reader:
        alone = conformity_of(reader, ALL, "usbc-2026")
    with open_long_reader(store, broken) as reader:
        assert alone == conformity_of(reader, ALL, "usbc-2026")
    assert 0 == broken.answered
    broken.close()


@pytest.mark.usefixtures("stocked")
def test_the_middle_of_a_selection(store: Store) -> None:
    """Half the balls lie on each side of it; a small selection, one that is cut short, and one lot have none."""
    with open_long_reader(store) as reader:
        middle = middle_unit(reader, ALL, 10)
        units = [row[0] for row in reader.transaction.rows('SELECT "unit" FROM "unit" ORDER BY "unit"')]
        assert units[len(units) // 2] == middle
        for selection in (Selection(state="shipped"), Selection(limit=20), Selection(lot="SL-1"), Selection(limit=5)):
            assert middle_unit(reader, selection, 10) is None
        assert middle_unit(reader, ALL, 1_000) is None
        whole = Halves(reader, ALL, conformity_of, "usbc-2026")
        assert (ALL, None) == (whole.first, whole.second())


def test_a_second_process_ends_with_the_first(store: Store) -> None:
    """The process beside is another one, and is gone when the one that started it was killed."""
    with tempfile.TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX) as door:
        door.bind(f"{folder}/door")
        door.listen()
        door.settimeout(60)
        process = ReadingProcess(store.url)
        other = process.ask(halves_asked.holds_open_beside, (f"{folder}/door",), {}, None)
        held, _ = door.accept()
        assert process.ask(halves_asked.process_id, (), {}, None) != other
        process.end()
        held.settimeout(60)
        assert b"" == held.recv(1)
        held.close()
