"""The machine's clock is set back and forward: the book's time never goes back, in one process, a next one, or another."""

from __future__ import annotations

from collections.abc import Callable

from ledger.book.entry import GENESIS_HASH, check_links, parse_entry
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.writer import Writer
from tests.plant import START_MS, line_start, opening, registration

SECOND, DAY, YEAR = 1_000, 86_400_000, 31_536_000_000
SETTINGS = (0, SECOND, -DAY, -5 * YEAR, DAY, DAY - SECOND, 2 * DAY, -SECOND, 10 * YEAR, 0)
"""By how much the clock is off at each group, in milliseconds."""


def times_of(store: Store) -> list[str]:
    """The time at which each entry was recorded, as it says itself; the chain is checked."""
    with open_reader(store) as reader:
        raws = [entry.bytes for entry in reader.entries(0, reader.head().size)]
    check_links(GENESIS_HASH, 0, raws)
    return [parse_entry(raw).recorded_at for raw in raws]


def test_the_book_does_not_follow_a_clock_that_is_set_back(store: Store, start: Callable[..., Writer]) -> None:
    """Each group bears the latest time that the clock ever showed, and a far jump forward is kept when it is set right."""
    shown = iter([START_MS + off for off in SETTINGS])
    writer = start(clock_ms=lambda: next(shown))
    for submission in [opening(), *line_start()][: len(SETTINGS)]:
        writer.submit(submission, "a-lead").result(30)
    times = times_of(store)
    latest = [max(SETTINGS[: number + 1]) for number in range(len(times))]
    assert times == sorted(times)
    assert len(set(latest)) == len(set(times))
    assert [times[latest.index(off)] for off in latest] == times


def test_a_process_that_starts_with_its_clock_behind_goes_on_from_the_book(
    store: Store, start: Callable[..., Writer]
) -> None:
    """After a restart a year behind, and beside another process a day ahead, times only grow, and views are the fold."""
    writer = start(clock_ms=lambda: START_MS)
    for submission in [opening(), *line_start()]:
        writer.submit(submission, "a-lead").result(30)
    writer.stop()
    behind, ahead = start(clock_ms=lambda: START_MS - YEAR), start(clock_ms=lambda: START_MS + DAY)
    for number in range(20):
        (behind, ahead)[number // 3 % 2].submit(registration(number), "a-engraver").result(30)
    times = times_of(store)
    assert (times, 2) == (sorted(times), len(set(times)))
    assert [] == compare_views(store)
