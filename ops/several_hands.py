"""Several processes that do parts of a check at once, where the system can copy a process as it stands.

A child has all that was read so far, as a copy; it reads the file by itself and answers through a pipe.  Part n goes to
child n modulo their number.  What a child cannot do, or a child that ends early, is done again here: there the fault is
raised that one process alone would raise, in its turn.
"""

from __future__ import annotations

import argparse
import gc
import os
import signal
import struct
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import BinaryIO

from ledger.evidence.hands import ONE_HAND, Hands, Work

_LENGTH = struct.Struct("<i")
_NOT_DONE = -1

FEWEST = 4
"""Parts from which on it is worth the children."""

MOST = 8
"""Children at most, however many processors there are, unless more are asked for."""

MOST_ASKED = 256


def add_processes(parser: argparse.ArgumentParser) -> None:
    """Declare how many processes do the work."""
    parser.add_argument(
        "--processes",
        type=_count,
        metavar="N",
        help=f"how many do it at once, 1 to {MOST_ASKED} (default: one a processor, {MOST} at most)",
    )


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_ASKED:
        raise argparse.ArgumentTypeError(f"expected 1 to {MOST_ASKED}, got {text}")
    return int(text)


def hands_for(processes: int | None = None) -> Hands:
    """As many as asked, or as there are processors for this process; one on systems whose own libraries bear no copying."""
    count = processes or min(MOST, _processors())
    return SeveralHands(count) if count > 1 and sys.platform == "linux" else ONE_HAND


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class SeveralHands:
    """Does parts in ``count`` processes; see `ledger.evidence.hands.Hands`."""

    def __init__(self, count: int) -> None:
        """Nothing runs yet; ``count`` is at least 2."""
        self._count = count

    def each(self, work: Work, parts: Sequence[int]) -> Iterator[bytes]:
        """What each part gives, in order; here where they are few."""
        if len(parts) < FEWEST:
            return ONE_HAND.each(work, parts)
        return self._shared(work, parts)

    def _shared(self, work: Work, parts: Sequence[int]) -> Iterator[bytes]:
        with _children(work, parts, self._count) as children:
            for place, part in enumerate(parts):
                found = children[place % len(children)].answer()
                yield work(part) if found is None else found

    @contextmanager
    def beside(self, work: Work, parts: Sequence[int]) -> Iterator[None]:
        """Have parts done by all but one, while this one does what is inside; before it where there is one part alone."""
        if len(parts) < 2:
            with ONE_HAND.beside(work, parts):
                yield
            return
        with _children(work, parts, self._count - 1) as children:
            try:
                yield
            except Exception:
                _settle(work, parts, children)
                raise
            _settle(work, parts, children)


class _Child:
    """A process that does some of the parts, in order."""

    def __init__(self, work: Work, parts: Sequence[int]) -> None:
        end, begin = os.pipe()
        self._pid = os.fork()
        if not self._pid:
            os.close(end)
            _labour(begin, work, parts)
        os.close(begin)
        self._answers: BinaryIO = os.fdopen(end, "rb")

    def answer(self) -> bytes | None:
        """What its next part gave; None where it did not come to an end of it."""
        head = self._answers.read(_LENGTH.size)
        if len(head) < _LENGTH.size:
            return None
        (length,) = _LENGTH.unpack(head)
        found = self._answers.read(max(0, length))
        return found if len(found) == length else None

    def end(self) -> None:
        """Stop it, whatever it does."""
        self._answers.close()
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)


@contextmanager
def _children(work: Work, parts: Sequence[int], count: int) -> Iterator[list[_Child]]:
    count = min(count, len(parts))
    children: list[_Child] = []
    # What stands is not looked at by a child's collector, or each child would write to, and so copy, all of it.
    gc.freeze()
    try:
        children.extend(_Child(work, parts[number::count]) for number in range(count))
        yield children
    finally:
        gc.unfreeze()
        for child in children:
            child.end()


def _settle(work: Work, parts: Sequence[int], children: Sequence[_Child]) -> None:
    """Wait until all parts are done; raises what the first of them raises that does."""
    for place, part in enumerate(parts):
        if children[place % len(children)].answer() is None:
            work(part)


def _labour(answers: int, work: Work, parts: Sequence[int]) -> None:
    """Do the parts, tell what each gave, and end this process: nothing of the parent's is to run in it."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        with os.fdopen(answers, "wb") as out:
            for part in parts:
                found = _done(work, part)
                out.write(_LENGTH.pack(_NOT_DONE if found is None else len(found)) + (found or b""))
                out.flush()
    finally:
        os._exit(0)


def _done(work: Work, part: int) -> bytes | None:
    try:
        return work(part)
    except Exception:  # noqa: BLE001  # whatever it is, it is raised where the parent does the part again
        return None
