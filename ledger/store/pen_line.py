"""The other side of the pen: the line by which a process passes submissions on to the holder, and hears its answers.

Submissions go out as they come, on the thread that says them; the answers of a whole group come in one message, on the
line's own thread.  However a line ends, what it leaves unanswered is given back.
"""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from ledger.errors import LedgerError, MalformedInput
from ledger.store.answer import Entered, Settled
from ledger.store.group import Asked
from ledger.store.passed import format_passed, parse_answers, taken_messages

LOG = logging.getLogger("pourbook.pen")

PATIENCE_S = 3.0
"""How long the holder has for an answer; after that its line is given up."""

READ_BYTES = 1 << 20
"""What is taken from the socket at once."""


class PenLine:
    """A line to the holder of the pen, for as long as it answers. What was passed on first is given back first."""

    def __init__(
        self,
        connection: socket.socket,
        *,
        settle: Callable[[list[Settled], bytes], None],
        left: Callable[[Callable[[], list[Asked]]], None],
    ) -> None:
        """``settle`` hears answers and the holder's checkpoint; ``left`` takes back what this process must enter, once it asks."""
        self._connection = connection
        self._settle, self._left = settle, left
        self._door = threading.Lock()
        self._answered = threading.Condition(self._door)
        self._waits: dict[int, tuple[Asked, float]] = {}
        self._number = 0
        self._open, self._given_back = True, False
        self.was_late = False
        """Whether it ended since the holder took too long."""
        self._thread = threading.Thread(target=self._run, name="pen", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """Submissions that are not answered yet."""
        return len(self._waits)

    @property
    def is_over(self) -> bool:
        """Whether it has given back what was not answered."""
        return self._given_back

    def passes(self, asked: Asked) -> bool:
        """Pass a submission on, or give it back in its turn; False where that is over, and it is for this process to enter."""
        with self._door:
            if self._given_back:
                return False
            self._number += 1
            self._waits[self._number] = asked, time.monotonic()
            if self._open:
                try:
                    # The holder reads between two groups, so that this seldom waits.
                    self._connection.sendall(format_passed(self._number, asked))
                except OSError as error:
                    self.was_late = isinstance(error, TimeoutError)
                    self._hang_up()
            return True

    def close(self) -> None:
        """Pass nothing more on, and wait a while for the answers that are due; what is not answered then is given back."""
        with self._door:
            self._answered.wait_for(lambda: not self._waits, PATIENCE_S)
            self._hang_up()
        self._thread.join()

    def _hang_up(self) -> None:
        self._open = False
        # The thread wakes and gives back what is left.
        with suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)

    def _run(self) -> None:
        try:
            self._hear()
        except (OSError, LedgerError) as error:
            LOG.info("line to the holder of the pen ended: %s", error)
        finally:
            self._left(self._give_back)

    def _give_back(self) -> list[Asked]:
        with self._door:
            self._open, self._given_back = False, True
            self._connection.close()
            rest = [asked for asked, _ in self._waits.values()]
            self._waits.clear()
            self._answered.notify_all()
        return rest

    def _hear(self) -> None:
        """Hand out answers until the line ends, or the holder takes too long. Raises OSError, MalformedInput."""
        came = bytearray()
        self._connection.settimeout(PATIENCE_S / 4)
        while True:
            try:
                part = self._connection.recv(READ_BYTES)
            except TimeoutError:
                if self._is_late():
                    self.was_late = True
                    raise
                continue
            if not part:
                return
            came += part
            for raw in taken_messages(came):
                self._hand_out(raw)

    def _is_late(self) -> bool:
        with self._door:
            _, oldest = next(iter(self._waits.values()), (None, time.monotonic()))
        return time.monotonic() - oldest > PATIENCE_S

    def _hand_out(self, raw: bytes) -> None:
        answers, checkpoint = parse_answers(raw)
        settled, left = [], []
        with self._door:
            for number, given in answers:
                asked, _ = self._waits.pop(number, (None, 0.0))
                if asked is None:
                    raise MalformedInput("an answer to nothing that was passed on", got=number)
                if given is None:
                    left.append(asked)
                else:
                    entered, error = (given, None) if isinstance(given, Entered) else (None, given)
                    settled.append(Settled(asked.future, entered, error, elsewhere=True))
            self._answered.notify_all()
        if settled:
            self._settle(settled, checkpoint)
        if left:
            self._left(lambda: left)
