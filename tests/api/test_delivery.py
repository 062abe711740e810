"""Answers of the writer on their way to the event loop."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import Future
from typing import Any

import pytest

from api.delivery import Delivery
from ledger.errors import Refused
from ledger.store.answer import Entered, Settled

ENTERED = Entered(1, ("1.0",), ((),), "2026-03-02T08:00:00.000+00:00", b"{}", "receipt", repeated=False)


def test_a_group_wakes_the_loop_once() -> None:
    """All answers of a group reach their waiters by one call to the loop."""

    async def wait() -> tuple[list[Entered], int]:
        """Fifty waiters, answered as one group from another thread."""
        loop = asyncio.get_running_loop()
        delivery = Delivery()
        calls: list[Any] = []
        wake = loop.call_soon_threadsafe
        delivery.bind(loop)
        futures = [delivery.new_future() for _ in range(50)]

        def counted(*args: Any, **kwargs: Any) -> asyncio.Handle:
            """Wake the loop, and remember that it was woken."""
            calls.append(args)
            return wake(*args, **kwargs)

        loop.call_soon_threadsafe = counted  # type: ignore[method-assign,assignment]  # counts, and calls it
        settled = [Settled(future, ENTERED, None) for future in futures]
        thread = threading.Thread(target=delivery, args=(settled,))
        thread.start()
        answers = await asyncio.gather(*futures)
        count = len(calls)
        await asyncio.to_thread(thread.join)
        return answers, count

    assert ([ENTERED] * 50, 1) == asyncio.run(wait())


def test_refusals_reach_their_own_waiter() -> None:
    """A refusal is raised for the one who was refused, an answer given to the other, a cancelled one left alone."""

    async def wait() -> None:
        """Three waiters of one group."""
        delivery = Delivery()
        delivery.bind(asyncio.get_running_loop())
        good, bad, gone = (delivery.new_future() for _ in range(3))
        gone.cancel()
        delivery([Settled(good, ENTERED, None), Settled(bad, None, Refused("no")), Settled(gone, ENTERED, None)])
        assert ENTERED == await good
        with pytest.raises(Refused):
            await bad

    asyncio.run(wait())


def test_concurrent_futures_need_no_loop() -> None:
    """A waiter on another thread is answered at once, loop or not."""
    future: Future[Entered] = Future()
    Delivery()([Settled(future, ENTERED, None)])

    assert ENTERED == future.result(timeout=0)


def test_a_closed_loop_does_not_stop_the_writer() -> None:
    """When the loop is gone, its waiters are gone with it, and the writer goes on."""
    delivery = Delivery()

    async def leave() -> asyncio.Future[Entered]:
        """A waiter whose loop ends before it is answered."""
        delivery.bind(asyncio.get_running_loop())
        return delivery.new_future()

    future = asyncio.run(leave())
    delivery([Settled(future, ENTERED, None)])

    assert not future.done()
