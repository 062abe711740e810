"""A check of the whole book while the service runs: what it says, what it finds, one at a time, kept."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

import pytest

from ledger.application.book_checks import BookCheck, BookChecks, Progress, kept_checks
from ledger.book.signing import Verifier
from ledger.errors import NotFound, StoreUnavailable
from tests.application.floor import Floor
from tests.whole.damage import drop_triggers

CHANGED_ENTRY = (
    'UPDATE "entry" SET "bytes" = CAST(REPLACE(CAST("bytes" AS TEXT), \'"kg":"\', \'"kg":"1\') AS BLOB) WHERE "index" = '
    '(SELECT MIN("index") FROM "fact" WHERE "kind" = \'material-received\')'
)


def checks_of(floor: Floor, *, apart: bool = False, keys: Callable[[], Sequence[Verifier]] | None = None) -> BookChecks:
    """Checks of a plant's book, by the keys that the service would trust."""
    trusted = [signer.verifier for signer in floor.book.signers.checkpoints()]
    return BookChecks(
        floor.book.store,
        origin=floor.book.origin,
        keys=keys or (lambda: trusted),
        clock_ms=floor.clock,
        apart=apart,
    )


def damaged(floor: Floor, statement: str) -> None:
    """Change the store's file as someone who owns it can."""
    file = Path(floor.url.removeprefix("sqlite:///"))
    drop_triggers(file)
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute(statement)


@pytest.mark.parametrize("apart", [False, True], ids=["thread", "process"])
def test_a_sound_book_is_told_with_its_figures(ready: Floor, apart: bool) -> None:  # noqa: FBT001  # a parameter of the test
    """Nothing is wrong, and entries, root and openings are those that a check by hand counts; it is kept."""
    checks = checks_of(ready, apart=apart)
    begun = checks.begin(ready.lead.account)
    checks.wait()
    seen, progress = checks.seen(begun)
    report = ready.book.check()

    assert (True, None, None) == (seen.is_right, progress, checks.running)
    assert (report.entries, report.root, report.openings) == (seen.size, seen.root, seen.openings)
    assert (ready.lead.account, "") == (seen.by, seen.unfinished)
    assert [seen] == kept_checks(ready.book.store)
    assert seen.ended_ms is not None
    assert seen.began_ms <= seen.ended_ms


@pytest.mark.parametrize(
    ("statement", "code", "where"),
    [
        (
            CHANGED_ENTRY,
            "root-mismatch",
            "entry ",
        ),
        ('UPDATE "unit" SET "lot" = \'SL-X\'', "view-mismatch", "unit"),
        ('DELETE FROM "opening" WHERE "index" = (SELECT MIN("index") FROM "opening")', "sealed-field-mismatch", ""),
    ],
    ids=["entry", "view", "opening"],
)
def test_what_is_damaged_is_found(ready: Floor, statement: str, code: str, where: str) -> None:
    """A changed entry, view or opening is what the check names; the book is not called right, up to its last entry."""
    ready.ball("U-1", "P-1")
    damaged(ready, statement)
    checks = checks_of(ready, apart=True)
    begun = checks.begin(ready.lead.account)
    checks.wait()
    seen, _ = checks.seen(begun)

    assert seen.found is not None
    assert (code, False) == (seen.found.code, seen.is_right)
    assert seen.found.where.startswith(where)
    assert seen.found.problem


class Gate:
    """Holds a check at its start: it asks for the trusted keys first, and waits for them until they are let out."""

    def __init__(self, floor: Floor) -> None:
        """Closed."""
        self._keys = [signer.verifier for signer in floor.book.signers.checkpoints()]
        self.reached, self.opened = threading.Event(), threading.Event()

    def keys(self) -> list[Verifier]:
        """The keys, once the gate is open."""
        self.reached.set()
        self.opened.wait()
        return self._keys


def test_one_runs_at_a_time(ready: Floor) -> None:
    """Who asks while one runs is led to it, and it stays that of who asked first; after it another may begin."""
    gate = Gate(ready)
    checks = checks_of(ready, keys=gate.keys)
    first = checks.begin(ready.lead.account)
    gate.reached.wait()
    seen, progress = checks.seen(first)
    assert (first, first, None) == (checks.begin("a-other"), checks.running, seen.ended_ms)
    assert Progress(part=1, done=0, whole=0) == progress
    gate.opened.set()
    checks.wait()
    assert (True, ready.lead.account) == (checks.seen(first)[0].is_right, checks.seen(first)[0].by)
    assert first != checks.begin(ready.lead.account)
    checks.wait()
    assert 2 == len(kept_checks(ready.book.store))


def test_progress_goes_through_all_entries_twice(ready: Floor) -> None:
    """Entries first, then views: each time it is told it is as far or farther, and never beyond the book."""
    checks = checks_of(ready, apart=True)
    begun, told = checks.begin(ready.lead.account), []
    while (progress := checks.seen(begun)[1]) is not None:
        told.append((progress.part, progress.done))
        assert progress.whole in {0, ready.book.check(views=False).entries}
    assert sorted(told) == told
    assert {part for part, _ in told} <= {1, 2}


def test_one_that_is_cut_off_says_nothing_of_the_book(ready: Floor) -> None:
    """A service that stops cuts a check off: it is kept as unfinished, is no finding, and none begins any more."""
    gate = Gate(ready)
    checks = checks_of(ready, keys=gate.keys)
    begun = checks.begin(ready.lead.account)
    gate.reached.wait()
    stopping = threading.Thread(target=checks.close)
    stopping.start()
    while not refuses(checks):
        pass
    gate.opened.set()
    stopping.join()

    (kept,) = kept_checks(ready.book.store)
    assert (begun, None, False) == (kept.check, kept.found, kept.is_right)
    assert "stopping" in kept.unfinished


def refuses(checks: BookChecks) -> bool:
    """Whether no check begins any more."""
    try:
        checks.begin("a-other")
    except StoreUnavailable:
        return True
    return False


def test_one_that_is_not_known_is_not_found(ready: Floor) -> None:
    """An id that no check has is told as such, with what to do."""
    with pytest.raises(NotFound, match="no such check") as raised:
        checks_of(ready).seen("00000000000000-00000000")
    assert "another" in raised.value.mend


def test_a_running_check_is_neither_right_nor_wrong() -> None:
    """Only one that ended without a finding is right."""
    assert not BookCheck(check="1", by="a-1", began_ms=1).is_right
    assert BookCheck(check="1", by="a-1", began_ms=1, ended_ms=2).is_right
