"""The garbage collector of a process that keeps a book.

Almost everything that such a process makes is freed by its reference count: records, rows and answers hold nothing that
refers back to them.  What the collector does at its usual thresholds is to walk the writer's overlay again and again:
measured, a third of the time of a registration.  So it runs less often, and leaves alone what stands at the start.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

YOUNG = 50_000
"""New objects before the youngest are looked at (Python's own figure is 700)."""

OLDER = 20
OLDEST = 50
"""Collections of one generation before the next older one is looked at too (Python's own figure is 10)."""


@contextmanager
def without_collecting() -> Iterator[None]:
    """No collections in the block: a start makes many objects, and throws few of them away."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def settle_collector() -> None:
    """Set the thresholds, and leave everything that is there now out of later collections.

    What is garbage already stays too: little, where collecting it first takes a fifth of a second of each start.
    """
    gc.freeze()
    gc.set_threshold(YOUNG, OLDER, OLDEST)
