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
    """A waiter and its answer: exactly one of ``entered`` and ``error`` is there.

    ``elsewhere``: another process entered or refused it, and counts it (`ledger.store.pen`).
    """

    future: Any
    entered: Entered | None
    error: BaseException | None
    elsewhere: bool = False


class PassedOn:
    """In the place of a future: a submission of another process, that waits for its answer there (`ledger.store.pen`)."""

    __slots__ = ("line", "number")

    def __init__(self, line: Any) -> None:
        """``line``: by which it came; its number is the sender's."""
        self.line = line
        self.number = 0


class GroupReport(NamedTuple):
    """One group as it was committed: for the service's counters."""

    submissions: int
    entries: int
    refused: int
    size: int
    checkpoint: bytes


def settle_futures(settled: list[Settled]) -> None:
    """Give concurrent futures their answers.

    One that was cancelled or answered meanwhile is left alone, and so is what another process waits for.
    """
    for future, entered, error, _ in settled:
        if isinstance(future, PassedOn) or future.done() or not future.set_running_or_notify_cancel():
            continue
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(entered)
