"""Failure modes: the words of the trade for how a ball fails, and those that a plant adds of its own.

The list is common practice of the trade, no source; a plant adds to it by a record, which the quality lead says.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ledger.errors import Contradiction, UnknownSubject
from ledger.line.claim_rows import FailureMode
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Name, Record, Slug
from ledger.line.state import Need, State

TRADE_MODES: Mapping[str, str] = {
    "crack-pin-to-hole": "crack from the pin to a hole",
    "crack-hole-to-hole": "crack from hole to hole",
    "crack-equator": "crack round the equator",
    "crack-over-block": "crack over the weight block",
    "shell-separation": "shell separated from the core",
    "void": "void or soft spot",
    "pin-loose": "pin loose",
    "out-of-round": "out of round, or a flat spot",
    "engraving": "engraving wrong or unreadable",
    "other": "other",
}
"""Each mode of the trade with the words that people read (common practice, no source)."""

SOURCE = "common practice of the trade, no source"
"""Where the list is from, as shown beside it."""


class FailureModeAdded(Record, frozen=True, kw_only=True, tag="failure-mode-added"):
    """The plant tells one more failure mode apart; said again, its words are put anew."""

    mode: Slug
    words: Name


def _needs(record: FailureModeAdded, _state: State) -> Iterator[Need]:
    yield Need(FailureMode, "mode", record.mode)


def _check(record: FailureModeAdded, _state: State, _setting: Setting) -> list[Breach]:
    if record.mode in TRADE_MODES:
        raise Contradiction(
            f"{record.mode} is a term of the trade already ({TRADE_MODES[record.mode]})",
            where="mode",
            mend="use it as it is, or add one under another word",
        )
    return []


def _effects(fact: Fact, state: State) -> None:
    record: FailureModeAdded = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(FailureMode(mode=record.mode, words=record.words, address=fact.address))


def mode_needs(mode: str) -> Iterator[Need]:
    """What `check_mode` reads."""
    if mode not in TRADE_MODES:
        yield Need(FailureMode, "mode", mode)


def check_mode(mode: str, state: State) -> None:
    """Return if a claim may name this mode. Raises UnknownSubject naming the list."""
    if mode in TRADE_MODES or state.one(FailureMode, mode) is not None:
        return
    raise UnknownSubject(
        f"{mode} is no failure mode of the trade's, and none that the plant added",
        expected="one of " + ", ".join(TRADE_MODES) + ", or one that the plant added",
        got=mode,
        where="mode",
        mend="use one of the list, or add it first (failure-mode-added)",
    )


KINDS = (Kind(FailureModeAdded, "decision", _needs, _check, _effects, lambda record: [f"mode:{record.mode}"]),)
