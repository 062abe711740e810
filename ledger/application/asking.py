"""May this be done now?  The answer that a station gets before the act: yes, or no with the reason and the earliest time.

The records are checked as if they were said now, at the next address, and nothing is kept of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from ledger.errors import MalformedRecord, Refused
from ledger.line.fact import Breach, Fact
from ledger.line.fold import check_record, check_submission, earliest_of, enter, located
from ledger.line.kind import Setting
from ledger.line.record import Record
from ledger.line.state import State
from ledger.store.engine import Store
from ledger.store.head import read_head
from ledger.store.loader import Loader


class Reason(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What stands in the way of one act."""

    code: str
    said: str
    where: str = ""
    fact: str = ""
    mend: str = ""


class AskAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Whether a record could be said now without a breach. ``earliest``: the first instant at which it could."""

    may: bool
    reasons: tuple[Reason, ...] = ()
    earliest: str | None = None


def ask_store(
    store: Store, records: Sequence[Record], *, author: str, now_ms: int, apart: bool = False
) -> list[AskAnswer]:
    """Answer for each record in turn, each seeing those before it, or with ``apart`` none of them.

    Raises MalformedRecord for what cannot be read.
    """
    check_submission(records)
    state = State()
    answers = []
    with store.reading() as transaction:
        loader = Loader(store.dialect)
        loader.load_for(transaction, state, records)
        index = read_head(transaction).size
        for position, record in enumerate(records):
            # What the records before it would enter may lead further than what was loaded for all at once.
            loader.load_for(transaction, state, (record,), thorough=True)
            setting = Setting(now_ms, author, index, position, asking=True)
            try:
                breaches = check_record(record, state, setting)
            except MalformedRecord as error:
                raise located(error, position) from error
            except Refused as error:
                answers.append(AskAnswer(may=False, reasons=(_refusal(error, position),)))
                continue
            if not apart:
                enter(Fact(index, position, record, author, now_ms, tuple(breaches)), state)
            answers.append(_answer(breaches))
    return answers


def _answer(breaches: list[Breach]) -> AskAnswer:
    reasons = tuple(
        Reason(
            code=breach.code,
            said=breach.said,
            fact=breach.fact if isinstance(breach.fact, str) else "",
            mend=breach.mend if isinstance(breach.mend, str) else "",
        )
        for breach in breaches
    )
    return AskAnswer(may=not breaches, reasons=reasons, earliest=earliest_of(breaches))


def _refusal(error: Refused, position: int) -> Reason:
    placed = located(error, position)
    return Reason(code=error.code, said=str(error), where=placed.where, mend=error.mend)
