"""Answers of the writer, brought to requests that wait on the event loop: one wake-up for a whole group.

The writer answers on its own thread.  To wake the loop once for each waiter would cost more than the waiting itself;
`Delivery` is given to the writer, sorts a group's answers, and crosses to the loop once.
"""

import asyncio
from collections.abc import Sequence

from api.counters import Counters
from ledger.store.answer import Entered, Settled, settle_futures


class Delivery:
    """The writer's ``deliver``: asyncio futures on the bound loop, concurrent futures at once."""

    def __init__(self) -> None:
        """Start unbound: until ``bind``, only concurrent futures may wait."""
        self._loop: asyncio.AbstractEventLoop | None = None
        self.counters = Counters()
        self.size = 0
        """Entries of the book up to the last one that this process answered with."""

    def bind(self, loop: asyncio.AbstractEventLoop | None) -> None:
        """Say which loop waits; None when none does any more."""
        self._loop = loop

    def new_future(self) -> asyncio.Future[Entered]:
        """A future of the bound loop, to be given to the writer with a submission."""
        return asyncio.get_running_loop().create_future()

    def __call__(self, settled: list[Settled]) -> None:
        """Hand a group's answers to their waiters; called on the writer's thread."""
        if not (settled and settled[0].elsewhere):
            self.counters.add_group(settled)
        self.size = max(self.size, *[one.entered.index + 1 for one in settled if one.entered is not None], 0)
        waiting = [one for one in settled if isinstance(one.future, asyncio.Future)]
        if len(waiting) < len(settled):
            settle_futures([one for one in settled if not isinstance(one.future, asyncio.Future)])
        loop = self._loop
        if not waiting or loop is None:
            return
        try:
            loop.call_soon_threadsafe(_settle, waiting)
        except RuntimeError:
            # The loop closed between: the requests are gone with it, and their clients repeat with the same key.
            self._loop = None


def _settle(waiting: Sequence[Settled]) -> None:
    for future, entered, error, _ in waiting:
        if future.done():  # its request was cancelled
            continue
        if error is None:
            future.set_result(entered)
        else:
            future.set_exception(error)
