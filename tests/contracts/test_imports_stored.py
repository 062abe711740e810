"""Files imported on each database: a dry run says what the run will, and a file goes on where it stopped."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.access.tokens import Account
from ledger.application.creating import create_book
from ledger.application.finding import Asked, find_balls
from ledger.application.import_lines import AT_ONCE
from ledger.application.pourbook import Pourbook, open_book
from ledger.application.signers import Signers
from ledger.line.imports import Sort
from ledger.line.rows import Lot, Unit
from ledger.line.state import Need, State
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.selections import every_row
from ledger.store.tentative import TentativeLoader
from tests.application.floor import floor_signers
from tests.application.import_files import BALLS, BALLS_REFUSED, csv_of, dry, ran, refused, verdicts
from tests.plant import line_start, registration

ORIGIN = "book.floor.test"
START_MS = 1_790_000_000_000
MANY = settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def signers() -> Signers:
    """The keys of the book."""
    return floor_signers()


@pytest.fixture
def book(url: str, signers: Signers) -> Iterator[Pourbook]:
    """A book whose line has begun, up to a shell lot."""
    created = create_book(
        url, origin=ORIGIN, plant="Plant", signers=signers, keeper="Keeper", clock_ms=lambda: START_MS
    )
    opened = open_book(
        url, origin=ORIGIN, signers=signers, label_stem="https://id.example.com", clock_ms=lambda: START_MS
    )
    opened.start()
    for submission in line_start():
        opened.submit(submission, Account(created.account.account, ("quality", "station"))).result(30)
    yield opened
    opened.close()


@pytest.fixture
def lead(book: Pourbook) -> Account:
    """Who imports."""
    return book.open_account("Lead", ("quality", "station", "desk"))[0]


def test_every_line_is_accepted_or_refused(book: Pourbook, lead: Account) -> None:
    """Each line has its own verdict with code, column and reason; a refused one stops no other."""
    lines = ran(book, BALLS.encode(), "balls", lead)

    assert list(range(2, 15)) == [int(line["line"]) for line in lines]
    assert BALLS_REFUSED == refused(lines)
    assert all(line["reason"] and line["mend"] for line in lines if line["outcome"] == "refused")
    with open_reader(book.store) as reader:
        units: list[Unit] = every_row(reader.transaction, Unit)
        lots: list[Lot] = every_row(reader.transaction, Lot, '"stage" = ?', ("imported",))
        found = find_balls(reader, Asked(serial="8812345"))
    assert {"imported"} == {unit.state for unit in units}
    assert (4, 4) == (len(units), sum(lot.made for lot in lots))
    assert [("2008-05-01", ()), ("1998-05-01", ("blue", "pearl"))] == [
        (ball.made_on, ball.colours) for ball in found.balls
    ]


def test_the_same_file_again_enters_nothing(book: Pourbook, lead: Account) -> None:
    """The answer is the same, told from the book, whoever sends the file; the dry run says it too."""
    first = ran(book, BALLS.encode(), "balls", lead)
    with open_reader(book.store) as reader:
        size = reader.head().size
    other = book.open_account("Other", ("quality",))[0]

    assert [line | {"mend": ""} for line in first] == [
        line | {"mend": ""} for line in ran(book, BALLS.encode(), "balls", other)
    ]
    assert verdicts(first) == verdicts(dry(book, BALLS.encode(), "balls"))
    with open_reader(book.store) as reader:
        assert size == reader.head().size


def test_a_file_goes_on_where_it_stopped(book: Pourbook, lead: Account, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ended after its first stretch, the same file enters the others, and the balls are there once each."""
    raw = csv_of(["made_on", "serial"], *(["2001-01-01", f"S{n}"] for n in range(3 * AT_ONCE["balls"])))
    stops = iter([False, True])
    begun = ran(book, raw, "balls", lead, stop=lambda: next(stops))
    told: list[tuple[int, int]] = []
    done = ran(book, raw, "balls", lead, progress=lambda *far: told.append(far))

    assert AT_ONCE["balls"] == len(begun)
    assert begun == done[: len(begun)]
    assert {"accepted"} == {line["outcome"] for line in done}
    assert [(100, 300), (200, 300), (300, 300)] == told
    with open_reader(book.store) as reader:
        assert 300 == len(every_row(reader.transaction, Unit))


def test_views_are_made_anew_with_imports(book: Pourbook, lead: Account) -> None:
    """A rebuild gives the same rows, whole book checked."""
    ran(book, BALLS.encode(), "balls", lead)
    assert [] == compare_views(book.store)
    rebuild_views(book.store)
    assert [] == compare_views(book.store)
    book.check()


DAYS = st.dates(date(2000, 1, 1), date(2020, 1, 1))
SERIALS = st.sampled_from(["S1", "S2", "S3", "P000001", "bad%"])


@st.composite
def files(draw: st.DrawFn) -> list[tuple[Sort, bytes]]:
    """Files of every sort, with lines that get in each other's way."""
    units = st.sampled_from(["", "U1", "U2", "U3"])
    balls = [
        [draw(DAYS), draw(SERIALS), draw(units), draw(st.sampled_from(["", "M1", "NONE"]))]
        for _ in range(draw(st.integers(1, 6)))
    ]
    shipments: list[list[Any]] = [
        [draw(st.sampled_from(["SH1", "SH2"])), draw(DAYS.map(lambda day: day + timedelta(9_000)) | DAYS),
         draw(SERIALS), draw(units), draw(st.sampled_from(["A shop", "B shop", ""]))]
        for _ in range(draw(st.integers(1, 6)))
    ]  # fmt: skip
    claims = [
        [draw(st.sampled_from(["C1", "C2", "C3"])), draw(DAYS), draw(st.sampled_from(["void", "other", "none-such"])),
         draw(SERIALS), draw(st.sampled_from(["", "reject"]))]
        for _ in range(draw(st.integers(1, 6)))
    ]  # fmt: skip
    return [
        ("balls", csv_of(["made_on", "serial", "unit", "model"], *balls)),
        ("shipments", csv_of(["shipment", "shipped_on", "serial", "unit", "consignee"], *shipments)),
        ("claims", csv_of(
            ["claim", "opened_on", "mode", "serial", "decision", "reason", "decided_on"],
            *([*row, "not-our-ball" if row[4] else "", row[1] if row[4] else ""] for row in claims)
        )),
    ]  # fmt: skip


@MANY
@given(files())
def test_a_dry_run_says_what_the_run_will(book: Pourbook, lead: Account, several: list[tuple[Sort, bytes]]) -> None:
    """The same verdict on every line, for files of every sort one after the other, in a stretch and over several."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(AT_ONCE, "balls", 2)
        patch.setitem(AT_ONCE, "shipments", 2)
        patch.setitem(AT_ONCE, "claims", 2)
        for what, raw in several:
            expected = dry(book, raw, what)
            assert verdicts(expected) == verdicts(ran(book, raw, what, lead))


def test_two_who_import_the_same_file_at_once_enter_it_once(book: Pourbook, lead: Account) -> None:
    """Both get an answer for every line, and every ball is there once."""
    raw = csv_of(["made_on", "serial"], *(["2001-01-01", f"S{n}"] for n in range(3 * AT_ONCE["balls"])))
    other = book.open_account("Other", ("quality",))[0]
    with ThreadPoolExecutor(2) as two:
        answers = list(two.map(lambda account: ran(book, raw, "balls", account), (lead, other)))

    assert answers[0] == answers[1]
    assert {"accepted"} == {line["outcome"] for line in answers[0]}
    with open_reader(book.store) as reader:
        assert 3 * AT_ONCE["balls"] == len(every_row(reader.transaction, Unit))


def test_rows_that_were_not_entered_are_seen_beside_those_that_were(book: Pourbook) -> None:
    """A kept row stands in the place of the stored one, by every column that it is asked by, and by its newest values."""
    registered = registration(1)
    lead = Account(book.open_account("Lead", ("quality",))[0].account, ("quality", "station", "inspector"))
    book.submit(registered, lead).result(30)
    loader, state = TentativeLoader(book.store.dialect), State()
    with open_reader(book.store) as reader:
        stored = reader.one(Unit, "U-000001")
        assert stored is not None
        for serial in ("T-1", "T-2"):
            state.put(msgspec.structs.replace(stored, serial=serial))
            loader.keep(state)
        look = State()
        needs = [Need(Unit, "serial", serial) for serial in ("P000001", "T-1", "T-2")]
        loader.load(reader.transaction, look, [*needs, Need(Unit, "lot", "SL-1")])

    assert [0, 0, 1] == [len(look.where(Unit, "serial", need.value)) for need in needs]
    assert ["T-2"] == [unit.serial for unit in look.where(Unit, "lot", "SL-1")]
