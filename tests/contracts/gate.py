"""A gate that holds a writer between two groups, so that a test decides what becomes one group."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import wait
from typing import Any

from ledger.store.answer import GroupReport
from ledger.store.writer import Writer
from tests.plant import opening


class Gate:
    """Holds the writer after its first group, so that what is queued meanwhile becomes one group."""

    def __init__(self) -> None:
        """Closed, and nothing reported."""
        self.reports: list[GroupReport] = []
        self._reached = threading.Event()
        self._open = threading.Event()

    def __call__(self, report: GroupReport) -> None:
        """Report a group, and wait until the gate is open."""
        self.reports.append(report)
        self.reach_and_wait()

    def reach_and_wait(self) -> None:
        """Say that the writer is here, and wait until the gate is open."""
        self._reached.set()
        self._open.wait(30)

    def reach(self) -> None:
        """Wait until the writer stands at the gate."""
        self._reached.wait(30)

    def open(self) -> None:
        """Let the writer go on."""
        self._open.set()


def in_one_group(start: Callable[..., Writer], submissions: list[Any], **options: Any) -> tuple[list[Any], Gate]:
    """Futures of submissions that were taken as one group, after entry 0."""
    gate = Gate()
    writer = start(on_group=gate, **options)
    first = writer.submit(opening(), "a-lead")
    gate.reach()
    futures = [writer.submit(submission, "a-lead") for submission in submissions]
    gate.open()
    wait([first, *futures], 30)
    return futures, gate
