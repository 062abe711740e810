"""Long reads give what the book gives, from a process that has no key, cannot write, and may end at any moment."""

from __future__ import annotations

import io
import multiprocessing
import os
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from typing import Any

import msgspec
import pytest

from ledger import errors
from ledger.application.conformity_query import conformity_of
from ledger.application.long_reads import LongReads, _Asked
from ledger.application.lot_view import lot_below
from ledger.application.reading_process import ReadingProcess
from ledger.book.signing import format_verifier
from ledger.errors import LedgerError, NotFound, RuleStands, StoreUnavailable, WitnessRefused
from ledger.evidence.verifier import check_dossier
from ledger.store.selections import Selection
from tests.application import asked
from tests.application.floor import Floor, floor_signers


@pytest.fixture
def apart(ready: Floor) -> Iterator[LongReads]:
    """Long reads of a floor with two balls, in one process."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    reads = LongReads(ready.book, 1)
    yield reads
    reads.close()


def process_of(reads: LongReads) -> int:
    """The id of the process that answers."""
    found: int = msgspec.json.decode(reads.answer(asked.size_and_process).result(60))[1]
    return found


def test_another_process_answers_as_the_book_does(ready: Floor, apart: LongReads) -> None:
    """One other process gives the same answers, one after another, and sees what was entered in between."""
    below = apart.answer(lot_below, "DRUM").result(60)
    verdicts = apart.answer(conformity_of, Selection(lot="SL-1"), "usbc-2026", listed=2).result(60)
    assert msgspec.json.encode(ready.book.below("DRUM")) == below
    assert msgspec.json.encode(ready.book.conformity(Selection(lot="SL-1"), "usbc-2026", listed=2)) == verdicts
    first = process_of(apart)
    ready.ball("U-3", "P-3")
    size, second = msgspec.json.decode(apart.answer(asked.size_and_process).result(60))
    assert (ready.book.check().entries, first) == (size, second)
    assert os.getpid() != first


@pytest.mark.parametrize("workers", [0, 1])
def test_a_dossier_is_signed_by_the_service(ready: Floor, workers: int) -> None:
    """It is the book's own dossier to the byte, written into an open file by a process that has no key; or by a thread."""
    ready.ball("U-1", "P-1")
    expected = io.BytesIO()
    ready.book.dossier(["P-1"], expected, ["erasable"])
    reads = LongReads(ready.book, workers)
    with tempfile.TemporaryFile() as out:
        reads.dossier(out, ["P-1"], ["erasable"]).result(60)
        out.seek(0)
        found = out.read()
    reads.close()
    assert expected.getvalue() == found
    check_dossier(io.BytesIO(found), [format_verifier(floor_signers().checkpoint.verifier)])


def test_a_dossier_that_cannot_be_is_refused_by_name(apart: LongReads) -> None:
    """An unknown number is the book's own refusal, and the process goes on."""
    before = process_of(apart)
    with tempfile.TemporaryFile() as out, pytest.raises(NotFound, match="0 balls bear P-404"):
        apart.dossier(out, ["P-404"], []).result(60)
    assert before == process_of(apart)


def sent(error: LedgerError) -> Any:
    """The error as it comes out of a pipe between two processes."""
    ours, theirs = multiprocessing.Pipe()
    with ours, theirs:
        ours.send(error)
        return theirs.recv()


@pytest.mark.parametrize(
    "got", ["text", 7, None, ("a", 1), threading.Lock()], ids=["text", "int", "none", "tuple", "lock"]
)
def test_an_error_of_the_tree_comes_whole(got: object) -> None:
    """Class, code, message and every part are the same on the other side, whatever was at fault."""
    with pytest.raises(RuleStands) as raised:
        asked.refuses(None, got)  # type: ignore[arg-type]  # it asks nothing
    copy = sent(raised.value)
    parts = [(type(one), one.code, str(one), one.problem, one.where, one.mend) for one in (raised.value, copy)]
    assert parts[0] == parts[1]
    assert (str(raised.value.expected), got if isinstance(got, str | int | None) else repr(got)) == (
        copy.expected,
        copy.got,
    )


def every_error() -> list[type[LedgerError]]:
    """Every class of the tree."""
    return [one for one in vars(errors).values() if isinstance(one, type) and issubclass(one, LedgerError)]


@pytest.mark.parametrize("kind", every_error(), ids=lambda kind: kind.__name__)
def test_every_error_of_the_tree_can_be_sent(kind: type[LedgerError]) -> None:
    """Each class crosses with what it holds."""
    error = (
        kind("a problem", status=409, stored_size=4) if issubclass(kind, WitnessRefused) else kind("a problem", got=3)
    )
    copy = sent(error)
    assert (type(error), error.args, vars(error)) == (type(copy), copy.args, vars(copy))


def test_errors_cross_from_the_process(apart: LongReads) -> None:
    """An error of ours comes as it is; another comes with a note of where it was raised; and the process goes on."""
    before = process_of(apart)
    with pytest.raises(RuleStands) as refused:
        apart.answer(asked.refuses, "this").result(60)
    assert ("this", "field", "do it otherwise") == (refused.value.got, refused.value.where, refused.value.mend)
    with pytest.raises(ZeroDivisionError, match="nobody thought of") as failed:
        apart.answer(asked.fails).result(60)
    assert "in fails" in failed.value.__notes__[0]
    assert before == process_of(apart)


def test_a_process_that_dies_is_made_anew(ready: Floor, apart: LongReads) -> None:
    """Whoever asked is told to ask again, and the next question is answered by another process."""
    before = process_of(apart)
    with pytest.raises(StoreUnavailable, match="cut off: got its process ended with -9") as told:
        apart.answer(asked.dies).result(60)
    assert "ask again; if it ends again, ask for less at once" == told.value.mend
    assert before != process_of(apart)


def test_the_process_cannot_write(ready: Floor, apart: LongReads) -> None:
    """The database itself refuses a write, and the views are as they were."""
    with pytest.raises(ready.book.store.dialect.errors, match="readonly"):
        apart.answer(asked.writes).result(60)
    assert ready.book.check().views_compared


def test_what_cannot_be_sent_is_an_error(ready: Floor) -> None:
    """An answer that pickle refuses does not stop the process."""
    process = ReadingProcess(ready.url)
    with pytest.raises(RuntimeError, match="cannot be sent"):
        process.ask(asked.gives_what_cannot_be_sent, (), {}, None)
    assert process.is_alive
    process.end()
    assert not process.is_alive


def ended_in_the_middle(reads: LongReads) -> tuple[Future[Any], Future[Any]]:
    """A question that is being answered, and one that waits, when the reads are closed."""
    begun = threading.Event()
    busy = reads._ask(_Asked(asked.waits_for_ever, (), {"begun": begun.set}))
    waiting = reads.answer(asked.size_and_process)
    assert begun.wait(60)
    assert not reads.is_free
    reads.close()
    return busy, waiting


def test_a_close_ends_what_is_under_way(apart: LongReads) -> None:
    """A read in the middle is ended with its process, one that waits is told, and later ones are refused at once."""
    for future in ended_in_the_middle(apart):
        with pytest.raises(StoreUnavailable, match=r"cut off|stopping"):
            future.result(60)
    with pytest.raises(StoreUnavailable, match="stopping"):
        apart.answer(asked.size_and_process)


def test_nothing_is_started_before_the_first_question(ready: Floor) -> None:
    """A service that is never asked a long question starts no thread and no process for it."""
    before = threading.active_count()
    reads = LongReads(ready.book, 1)
    assert (before, True) == (threading.active_count(), reads.is_free)
    reads.close()
