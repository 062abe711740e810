"""What a submission gets back once its entry stands."""

from __future__ import annotations

from typing import Any, NamedTuple

import msgspec

from ledger.line.fact import Breach


class Entered(msgspec.Struct, frozen=True):
    """The entry that a submission became.

    ``addresses`` and ``breaches`` are parallel to its records; ``receipt`` is a C2SP tlog-proof against the checkpoint
    of its group (of a later one, where ``repeated`` says that the key had been used before for the same submission).
    """

    index: int
    addresses: tuple[str, ...]
    breaches: tuple[tuple[Breach, ...], ...]
    recorded_at: str
    entry_bytes: bytes
    receipt: str
    repeated: bool


class Settled(NamedTuple):
    """A waiter and its answer: exactly one of ``entered`` and ``error`` is there."""

    future: Any
    entered: Entered | None
    error: BaseException | None


class GroupReport(NamedTuple):
    """One group as it was committed: for the service's counters."""

    submissions: int
    entries: int
    refused: int
    size: int
    checkpoint: bytes


def settle_futures(settled: list[Settled]) -> None:
    """Give concurrent futures their answers; one that was cancelled or answered meanwhile is left alone."""
    for future, entered, error in settled:
        if future.done() or not future.set_running_or_notify_cancel():
            continue
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(entered)
