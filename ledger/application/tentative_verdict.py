"""A ball judged by readings that are not entered yet: what would be the verdict if they were said now.

The readings are checked and folded as an inspection is (`ledger.line.fold`), into an overlay that nobody keeps; the ball
with that row is then judged by the same function as any ball (`judging.judge_selected`).  Nothing is written.
"""

from __future__ import annotations

import msgspec

from ledger.application.judging import JudgedBy, judge_selected
from ledger.errors import MalformedRecord, NotFound
from ledger.line.fact import Breach, Fact
from ledger.line.fold import check_record, check_submission, enter, located
from ledger.line.inspections import Inspection
from ledger.line.kind import Setting
from ledger.line.reading_rows import Measured
from ledger.line.state import State
from ledger.store.engine import Store
from ledger.store.loader import Loader
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls


class Tentative(msgspec.Struct, frozen=True, kw_only=True):
    """How a ball would come out, by each rulebook of its plan, and the breaches with which the readings would stand."""

    judged: tuple[JudgedBy, ...]
    breaches: tuple[Breach, ...] = ()


def judge_tentative(store: Store, inspection: Inspection, *, author: str, now_ms: int) -> Tentative:
    """Judge the ball of an inspection as if it were said now.

    Raises what saying it would: MalformedRecord, UnknownSubject, Contradiction, MalformedQuantity; NotFound for no ball.
    """
    check_submission((inspection,))
    if not isinstance(inspection.unit, str):
        raise MalformedRecord("readings of a lot have no verdict of a ball", where="unit", mend="name the ball")
    state = State()
    with open_reader(store) as reader:
        found = select_balls(reader.transaction, Selection(unit=inspection.unit))
        if not found:
            raise NotFound(f"unit {inspection.unit} is not in the book", where="unit", mend="scan the ball again")
        Loader(store.dialect).load_for(reader.transaction, state, (inspection,), thorough=True)
        index = reader.head().size
        try:
            breaches = check_record(inspection, state, Setting(now_ms, author, index, 0, asking=True))
        except MalformedRecord as error:
            raise located(error, 0) from error
        enter(Fact(index, 0, inspection, author, now_ms, tuple(breaches)), state)
        measured = state.one(Measured, inspection.unit)
        judged = judge_selected(reader, found[0]._replace(measured=measured))
    return Tentative(judged=tuple(judged), breaches=tuple(breaches))
