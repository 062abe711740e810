"""Serials are allotted once, entered before they are given, and the same again to the same key."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from ledger.application.serials import Allotted, Allotter
from ledger.book.receipt import check_receipt
from ledger.book.signing import format_verifier
from ledger.errors import Contradiction, Forbidden, KeyReused, MalformedRecord
from ledger.line.rows import Allotment
from ledger.line.serial import parse_serial
from ledger.line.submission import Submission
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.application.floor import Floor, engraved, floor_signers, inspected, mixed


def test_serials_are_entered_before_they_are_given(floor: Floor) -> None:
    """The answer names the entry that allots exactly these numbers to the station, and its receipt proves it."""
    allotted = floor.book.allot_serials("E-1", 5, "key", floor.lead)
    (told,) = floor.book.entry(allotted.entry).entry["said"]["records"]
    assert (list(allotted.serials), "E-1") == (told["serials"], told["station"])
    raw = floor.book.entry_bytes(allotted.entry)
    check_receipt(allotted.receipt, raw, [format_verifier(floor_signers().checkpoint.verifier)])
    assert list(allotted.serials) == [parse_serial(serial) for serial in allotted.serials]


def test_one_key_allots_once(floor: Floor) -> None:
    """The same request again gives the same numbers and the same entry, also after others were served."""
    first = floor.book.allot_serials("E-1", 5, "key", floor.lead)
    floor.book.allot_serials("E-2", 5, "another", floor.lead)
    again = floor.book.allot_serials("E-1", 5, "key", floor.lead)
    assert (first.serials, first.entry) == (again.serials, again.entry)
    with open_reader(floor.book.store) as reader:
        assert 10 == len(every_row(reader.transaction, Allotment))


def test_a_key_belongs_to_its_author(floor: Floor) -> None:
    """Two accounts that happen to use one key get numbers of their own."""
    other, _ = floor.book.open_account("Other", ("station",))
    first = floor.book.allot_serials("E-1", 5, "key", floor.lead)
    second = floor.book.allot_serials("E-1", 5, "key", other)
    assert set() == set(first.serials) & set(second.serials)


def test_threads_that_ask_at_once_never_share_a_number(floor: Floor) -> None:
    """Eight stations that ask at once, four times each, get numbers that are all different and without gaps."""

    def served(number: int) -> Allotted:
        return floor.book.allot_serials(f"E-{number % 8}", 7, f"key-{number}", floor.lead)

    with ThreadPoolExecutor(8) as pool:
        allotted = list(pool.map(served, range(32)))
    serials = [serial for one in allotted for serial in one.serials]
    assert 32 * 7 == len(set(serials))
    with open_reader(floor.book.store) as reader:
        rows: list[Allotment] = every_row(reader.transaction, Allotment)
    assert (set(range(32 * 7)), set(serials)) == ({row.counter for row in rows}, {row.serial for row in rows})


def test_one_request_sent_by_many_threads_is_one_allotment(floor: Floor) -> None:
    """A station that repeats its request while the first is on its way gets one answer."""
    with ThreadPoolExecutor(8) as pool:
        allotted = list(pool.map(lambda _: floor.book.allot_serials("E-1", 7, "key", floor.lead), range(16)))
    assert 1 == len({(one.serials, one.entry) for one in allotted})


class Meanwhile:
    """A writer before which, each time, something else happens first, as where another process is served between."""

    def __init__(self, floor: Floor, first: Callable[[], object]) -> None:
        self._floor, self._first = floor, first

    def submit(self, submission: Submission, author: str) -> Any:
        """Let the other go first."""
        self._first()
        return self._floor.book._writer.submit(submission, author)


def allotter(floor: Floor, first: Callable[[], object]) -> Allotter:
    """One that is overtaken by ``first`` whenever it has looked at the counter."""
    return Allotter(floor.book.store, Meanwhile(floor, first), b"another key, as numbers go by it")  # type: ignore[arg-type]  # it submits as a writer does


def test_who_was_overtaken_tries_again(floor: Floor) -> None:
    """Where another process took the counter's next values, those after them are given."""
    waiting = ["other"]
    late = allotter(floor, lambda: waiting and floor.book.allot_serials("E-2", 5, waiting.pop(), floor.lead))
    late.allot(station="E-1", count=5, key="key", author=floor.lead.account, now_ms=floor.now_ms)
    with open_reader(floor.book.store) as reader:
        rows: list[Allotment] = every_row(reader.transaction, Allotment)
    assert {"E-2": {0, 1, 2, 3, 4}, "E-1": {5, 6, 7, 8, 9}} == {
        station: {row.counter for row in rows if row.station == station} for station in ("E-1", "E-2")
    }


def test_a_request_entered_meanwhile_is_answered_as_it_was(floor: Floor) -> None:
    """The same request, sent a moment earlier to another process, gives its numbers here too."""
    first: list[Allotted] = []

    def sent_before() -> None:
        if not first:
            first.append(floor.book.allot_serials("E-1", 5, "key", floor.lead))

    account, now_ms = floor.lead.account, floor.now_ms + 1_000
    again = allotter(floor, sent_before).allot(station="E-1", count=5, key="key", author=account, now_ms=now_ms)
    assert [(again.serials, again.entry)] == [(one.serials, one.entry) for one in first]


def test_who_is_overtaken_for_ever_is_told_to_ask_again(floor: Floor) -> None:
    """After twenty tries the station is told that the counter kept moving."""
    keys = itertools.count()
    late = allotter(floor, lambda: floor.book.allot_serials("E-2", 1, f"other-{next(keys)}", floor.lead))
    with pytest.raises(Contradiction, match="kept moving"):
        late.allot(station="E-1", count=5, key="key", author=floor.lead.account, now_ms=floor.now_ms)
    assert 20 == next(keys)


@pytest.mark.parametrize(("station", "count"), [("E-2", 5), ("E-1", 6)])
def test_a_key_is_not_used_for_another_request(floor: Floor, station: str, count: int) -> None:
    """Another station or count under a used key is refused, and nothing is allotted."""
    floor.book.allot_serials("E-1", 5, "key", floor.lead)
    with pytest.raises(KeyReused) as caught:
        floor.book.allot_serials(station, count, "key", floor.lead)
    assert "Idempotency-Key" == caught.value.where
    with open_reader(floor.book.store) as reader:
        assert 5 == len(every_row(reader.transaction, Allotment))


def test_a_key_of_other_facts_is_refused(ready: Floor) -> None:
    """A key under which something else was said allots nothing, whether or not that held sealed fields."""
    plain = ready.say(engraved("U-1", "P-1"), inspected("U-1", mass="15.1")).index
    sealed = ready.say(mixed("MIX-2", "DRUM", 1, 60)).index
    for index in (plain, sealed):
        key = ready.book.entry(index).entry["said"]["key"]
        with pytest.raises(KeyReused, match=f"entry {index}"):
            ready.book.allot_serials("E-1", 5, key, ready.lead)
    with open_reader(ready.book.store) as reader:
        assert [] == every_row(reader.transaction, Allotment)


def test_two_processes_never_share_a_number(floor: Floor) -> None:
    """Where two services write one book, each number is given by one of them."""
    other = floor.opened()
    other.start()

    def served(number: int) -> tuple[str, ...]:
        return (floor.book, other)[number % 2].allot_serials("E-1", 3, f"key-{number}", floor.lead).serials

    with ThreadPoolExecutor(4) as pool:
        serials = [serial for allotted in pool.map(served, range(12)) for serial in allotted]
    other.close()
    assert 36 == len(set(serials))


@pytest.mark.parametrize("count", [0, 1_001])
def test_a_count_out_of_range_is_refused(floor: Floor, count: int) -> None:
    """At least one and at most a thousand numbers are given at a time."""
    with pytest.raises(MalformedRecord) as caught:
        floor.book.allot_serials("E-1", count, "key", floor.lead)
    assert "count" == caught.value.where


def test_who_may_not_allot_is_told_so(floor: Floor) -> None:
    """The desk allots no numbers."""
    desk, _ = floor.book.open_account("Desk", ("desk",))
    with pytest.raises(Forbidden):
        floor.book.allot_serials("E-1", 1, "key", desk)
