"""The words of the warranty desk: failure modes, and the reasons of decisions with the evidence that each needs."""

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from ledger.line.claim_reasons import REASONS, WORDS, Reason
from ledger.line.claim_reasons import SOURCE as REASONS_SOURCE
from ledger.line.claim_rows import FailureMode
from ledger.line.failure_modes import SOURCE, TRADE_MODES
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row


class ModeSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A failure mode and its words; ``fact`` is the address at which the plant added it, absent for one of the trade's."""

    mode: str
    words: str
    fact: str = ""


class ModesSeen(msgspec.Struct, frozen=True, kw_only=True):
    """Every failure mode that a claim may name. ``source``: where the trade's are from."""

    modes: tuple[ModeSeen, ...]
    source: str = SOURCE


class ReasonSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A reason: the decisions that it may carry, and what it needs; of each list in ``needs`` any one will do."""

    reason: str
    words: str
    decisions: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]


class ReasonsSeen(msgspec.Struct, frozen=True, kw_only=True):
    """Every reason for which a claim may be decided. ``source``: where the table is from."""

    reasons: tuple[ReasonSeen, ...]
    source: str = REASONS_SOURCE


class ClaimWords(Controller):
    """Lists to choose from when a claim is told."""

    path = "/claim-words"

    @get(
        "/modes",
        opt=described(
            Operation("The failure modes that a claim may name", "warranty", action="claims", answer=ModesSeen)
        ),
    )
    async def modes(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The trade's, then the plant's own (record ``failure-mode-added``)."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_modes, parts.book.store))

    @get(
        "/reasons",
        opt=described(
            Operation(
                "The reasons of decisions, and the evidence that each needs",
                "warranty",
                action="claims",
                answer=ReasonsSeen,
            )
        ),
    )
    async def reasons(self) -> Response[bytes]:
        """A decision without its evidence is refused."""
        return json_answer(ReasonsSeen(reasons=tuple(map(_seen, REASONS))))


def _modes(store: Store) -> ModesSeen:
    with open_reader(store) as reader:
        own: list[FailureMode] = every_row(reader.transaction, FailureMode)
    trade = [ModeSeen(mode=mode, words=words) for mode, words in TRADE_MODES.items()]
    return ModesSeen(modes=(*trade, *(ModeSeen(mode=row.mode, words=row.words, fact=row.address) for row in own)))


def _seen(reason: Reason) -> ReasonSeen:
    needs = tuple(tuple(WORDS[kind] for kind in need) for need in reason.needs)
    return ReasonSeen(reason=reason.reason, words=reason.words, decisions=reason.decisions, needs=needs)
