"""Who holds the pen, in what folder, and what becomes of a line: real sockets, and a holder that the test plays."""

from __future__ import annotations

import os
import queue
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import MalformedInput, Unsupported
from ledger.line.submission import seal_submission
from ledger.store import pen_holder, pen_line
from ledger.store.answer import Settled
from ledger.store.group import Asked
from ledger.store.passed import format_answers, format_passed
from ledger.store.pen import Pen
from ledger.store.pen_address import connecting, listening
from ledger.store.pen_line import PenLine
from tests.plant import ORIGIN, counted_salts, registration


def asked_for(number: int) -> Asked:
    """One ball as a writer queues it."""
    submission = registration(number)
    return Asked(submission.key, "a-lead", seal_submission(ORIGIN, submission, counted_salts()), b"", number)


class Process:
    """A process as the pen sees it: what it was given back, and what it handed out."""

    def __init__(self, folder: Path, book: str = "a book") -> None:
        """Look for the pen."""
        self.back: queue.Queue[list[Asked]] = queue.Queue()
        self.pen = Pen(folder)
        self.pen.open(book, lambda _settled: None, lambda given: self.back.put(given()))


@pytest.fixture
def process(tmp_path: Path) -> Iterator[Callable[..., Process]]:
    """Processes that share a folder, unless they say otherwise."""
    made: list[Process] = []

    def make(folder: Path = tmp_path / "pen", **named: Any) -> Process:
        made.append(Process(folder, **named))
        return made[-1]

    yield make
    for one in made:
        one.pen.close()


def test_one_holds_it_and_the_next_takes_it(process: Callable[..., Process]) -> None:
    """Of three processes the first holds the pen; when it is gone, the one that looks first holds it."""
    first, second, third = process(), process(), process()
    assert [True, False, False] == [one.pen.holder is not None for one in (first, second, third)]
    first.pen.close()
    assert [[], []] == [one.back.get(timeout=10) for one in (second, third)]
    assert [False, False] == [second.pen.passes(asked_for(1)), second.pen.seek()]
    assert (True, True, False) == (second.pen.holder is not None, third.pen.seek(), third.pen.passes(asked_for(1)))
    third.pen.use()
    assert (True, 1) == (third.pen.passes(asked_for(1)), third.pen.waiting)


def test_another_book_has_another_pen(process: Callable[..., Process]) -> None:
    """Processes of two books in one folder do not meet."""
    assert [True, True] == [process(book=book).pen.holder is not None for book in ("one", "other")]


def test_a_long_path_has_room_for_a_socket(process: Callable[..., Process], tmp_path: Path) -> None:
    """A folder with a path longer than the name of a socket may be serves all the same."""
    folder = tmp_path / ("a" * 120)
    first, second = process(folder), process(folder)
    assert (True, True) == (first.pen.holder is not None, second.pen.passes(asked_for(1)))


@pytest.mark.parametrize("mode", [0o701, 0o710, 0o770, 0o755])
def test_a_folder_that_others_may_enter_is_refused(tmp_path: Path, mode: int) -> None:
    """Whoever can open the socket writes the book: a folder with any right for others is not used."""
    folder = tmp_path / "pen"
    folder.mkdir()
    folder.chmod(mode)
    with pytest.raises(Unsupported, match=f"0700, got {oct(mode)}"):
        Pen(folder)


def test_what_is_no_folder_is_refused(tmp_path: Path) -> None:
    """A file in its place, or a folder that cannot be made, is told with its name."""
    (tmp_path / "file").write_text("")
    (tmp_path / "file").chmod(0o600)
    for wrong in (tmp_path / "file", tmp_path / "none" / "pen"):
        with pytest.raises(Unsupported) as told:
            Pen(wrong)
        assert str(wrong) == told.value.where


def test_a_folder_that_takes_no_file_is_refused_at_the_start(tmp_path: Path) -> None:
    """Where the lock cannot be made, the start says so."""
    pen = Pen(tmp_path / "pen")
    (tmp_path / "pen").rmdir()
    with pytest.raises(Unsupported, match="takes no file"):
        pen.open("a book", lambda _settled: None, lambda _given: None)


def test_the_folder_and_what_is_in_it_are_the_owner_s(process: Callable[..., Process], tmp_path: Path) -> None:
    """The folder that is made has no right for anybody else."""
    process()
    assert "0o700" == oct((tmp_path / "pen").stat().st_mode & 0o777)


class Line:
    """A line to a holder that the test plays."""

    def __init__(self, folder: Path) -> None:
        """Connect to it."""
        self.settled: queue.Queue[tuple[list[Settled], bytes]] = queue.Queue()
        self.back: queue.Queue[list[Asked]] = queue.Queue()
        address = os.fsencode(folder / "s")
        with listening(address) as listener:
            self.line = PenLine(
                connecting(address, 5),
                settle=lambda settled, note: self.settled.put((settled, note)),
                left=lambda given: self.back.put(given()),
            )
            self.holder, _ = listener.accept()

    def given_back(self) -> list[int]:
        """The balls that came back."""
        return [one.future for one in self.back.get(timeout=10)]


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    """A line, closed at the end."""
    made = Line(tmp_path)
    yield made
    made.holder.close()
    made.line.close()


def test_what_is_not_answered_comes_back_in_order(line: Line) -> None:
    """When the holder goes, everything passed on comes back as it was said, and nothing more is taken."""
    assert [True] * 5 == [line.line.passes(asked_for(number)) for number in range(5)]
    line.holder.close()
    assert list(range(5)) == line.given_back()
    assert (True, False, 0) == (line.line.is_over, line.line.passes(asked_for(9)), line.line.waiting)


def test_an_answer_is_handed_out_and_the_rest_waits(line: Line) -> None:
    """Of two one is refused: its future hears that with the checkpoint, and only the other comes back in the end."""
    assert [True, True] == [line.line.passes(asked_for(number)) for number in (1, 2)]
    line.holder.sendall(format_answers([(1, MalformedInput("no"))], b"a note"))
    ((settled,), note) = line.settled.get(timeout=10)
    assert (1, "malformed-input", True, b"a note") == (settled.future, settled.error.code, settled.elsewhere, note)  # type: ignore[union-attr]
    line.holder.close()
    assert [2] == line.given_back()


def test_a_holder_that_stands_still_is_left(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What a living holder leaves unanswered for too long comes back, and the line says that it was late."""
    monkeypatch.setattr(pen_line, "PATIENCE_S", 0.2)
    made = Line(tmp_path)
    assert made.line.passes(asked_for(1))
    assert ([1], True) == (made.given_back(), made.line.was_late)
    made.holder.close()


def test_a_holder_that_reads_nothing_is_left(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Once the socket takes no more, everything comes back in order, and the line says that the holder was late."""
    monkeypatch.setattr(pen_line, "PATIENCE_S", 0.4)
    made = Line(tmp_path)
    made.line._connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4_096)
    passed = 0
    while made.line.passes(asked_for(passed)):
        passed += 1
        assert passed < 100_000
    assert (list(range(passed)), True) == (made.given_back(), made.line.was_late)
    made.holder.close()


def test_a_process_that_reads_no_answers_loses_its_line(
    process: Callable[..., Process], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The holder keeps only so much for it, and does not wait."""
    monkeypatch.setattr(pen_holder, "KEPT_BYTES", 100_000)
    side = process().pen.holder
    assert side is not None
    (address,) = (tmp_path / "pen").glob("*.sock")
    with connecting(os.fsencode(address), 5) as silent:
        silent.sendall(format_passed(1, asked_for(3)))
        found: list[Asked] = []
        while not found:
            found = side.collect(5)
        refused = [Settled(found[0].future, None, MalformedInput("no" * 50_000))]
        connection, times = found[0].future.line.connection, 0
        while connection.fileno() >= 0:
            side.answer(refused, b"")
            times += 1
            assert times < 1_000
        side.answer(refused, b"")
    assert times > 1


def test_a_holder_that_answers_what_was_not_asked_is_left(line: Line) -> None:
    """An answer to nothing ends the line; so does what is no message."""
    assert line.line.passes(asked_for(1))
    line.holder.sendall(format_answers([(7, MalformedInput("no"))], b""))
    assert [1] == line.given_back()


def test_closing_waits_for_the_answers_that_are_due(line: Line) -> None:
    """A line that is closed hands out what is answered meanwhile."""
    assert line.line.passes(asked_for(1))
    line.holder.sendall(format_answers([(1, MalformedInput("no"))], b""))
    line.line.close()
    assert ([1], []) == ([one.future for one in line.settled.get(timeout=10)[0]], line.given_back())


def test_a_stranger_at_the_holder_s_door_harms_nobody(process: Callable[..., Process], tmp_path: Path) -> None:
    """Bytes that are no message lose their line, and the holder takes the next one's submissions."""
    holder = process()
    (address,) = (tmp_path / "pen").glob("*.sock")
    with connecting(os.fsencode(address), 5) as stranger:
        stranger.sendall(b"\xff" * 100)
        side = holder.pen.holder
        assert side is not None
        while _is_open(stranger):
            assert [] == side.collect(5)
    other = process()
    assert other.pen.passes(asked_for(3))
    found: list[Asked] = []
    while not found:
        found = side.collect(5)
    assert ["ball-3"] == [one.key for one in found]


def _is_open(connection: socket.socket) -> bool:
    try:
        return connection.recv(1, socket.MSG_DONTWAIT | socket.MSG_PEEK) != b""
    except BlockingIOError:
        return True
    except OSError:
        return False
