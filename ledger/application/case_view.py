"""Cases as a person sees them: the list, and one with its holds, letters, and every ball accounted for or not."""

from __future__ import annotations

import msgspec

from ledger.application.case_balls import CaseBalls, known_case_row
from ledger.application.containment import PiecesLeft, pieces_left
from ledger.application.histories import Told, history_of, instant_text
from ledger.line.case_answers import suspect_of
from ledger.line.case_rows import Case, CaseHold, CaseNotice
from ledger.line.rows import Hold
from ledger.line.suspects import Suspect
from ledger.store.reader import Reader
from ledger.store.selections import every_row, rows_with
from ledger.warranty.reconciliation import Reconciliation, reconcile

MOST_STRAY = 200


class CaseSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One case. ``action``: none, stop-sale or recall; ``open_holds`` of its ``holds`` stand."""

    case: str
    why: str
    reason: str
    suspect: Suspect
    action: str
    opened_at: str
    open: bool
    holds: int
    open_holds: int
    fact: str
    decision: str | None = None
    closed_with_unaccounted: int | None = None


class NoticeSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A letter that was made: the digest of its file, and how many balls it names."""

    consignee: str
    action: str
    letter: str
    balls: int
    made_at: str
    fact: str


class CaseHoldSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A hold of a case; a recall that one person lifted waits for the second."""

    hold: str
    node: str
    rule: str | None
    open: bool
    recall: bool
    lifted_by_one: bool


class CaseView(msgspec.Struct, frozen=True, kw_only=True):
    """One case. ``answers_elsewhere``: balls answered for that are not of it, and numbers that name no one ball."""

    case: CaseSeen
    reconciliation: Reconciliation
    pieces: tuple[PiecesLeft, ...]
    holds: tuple[CaseHoldSeen, ...]
    notices: tuple[NoticeSeen, ...]
    answers_elsewhere: tuple[str, ...]
    history: tuple[Told, ...]


def cases_of(reader: Reader) -> tuple[CaseSeen, ...]:
    """Every case, the open ones first, then by when they were opened."""
    rows: list[Case] = every_row(reader.transaction, Case)
    ordered = sorted(rows, key=lambda row: (not row.open, row.opened_ms, row.case))
    holds = _holds(reader, [row.case for row in ordered])
    return tuple(_seen(row, holds.get(row.case, [])) for row in ordered)


def case_view(reader: Reader, case: str) -> CaseView:
    """One case, its balls added up. Raises NotFound. Cost: a row a ball of the case."""
    row = known_case_row(reader, case)
    balls = CaseBalls(reader, row)
    summed = reconcile(one.settled.ball for one in balls)
    holds = _holds(reader, [case]).get(case, [])
    return CaseView(
        case=_seen(row, holds),
        reconciliation=summed,
        pieces=pieces_left(balls.found),
        holds=tuple(map(_hold_seen, holds)),
        notices=notices_of(reader, case),
        answers_elsewhere=tuple([*balls.not_of_case(), *balls.strangers][:MOST_STRAY]),
        history=history_of(reader, [f"case:{case}"]),
    )


def reconciliation_of(reader: Reader, case: str) -> Reconciliation:
    """The balls of a case added up. Raises NotFound."""
    return reconcile(one.settled.ball for one in CaseBalls(reader, known_case_row(reader, case)))


def notices_of(reader: Reader, case: str) -> tuple[NoticeSeen, ...]:
    """The letters of a case, oldest first."""
    rows: list[CaseNotice] = reader.rows(CaseNotice, "case", case)
    ordered = sorted(rows, key=lambda row: (row.at_ms, tuple(map(int, row.notice.split(".")))))
    return tuple(
        NoticeSeen(
            consignee=row.consignee,
            action=row.action,
            letter=row.letter,
            balls=row.balls,
            made_at=instant_text(row.at_ms),
            fact=row.notice,
        )
        for row in ordered
    )


def case_holds(reader: Reader, case: str) -> list[Hold]:
    """The holds of a case, in the order of their placing."""
    return _holds(reader, [case]).get(case, [])


def _holds(reader: Reader, cases: list[str]) -> dict[str, list[Hold]]:
    placed: list[CaseHold] = rows_with(reader, CaseHold, "case", cases)
    holds: dict[str, Hold] = {row.hold: row for row in rows_with(reader, Hold, "hold", [row.hold for row in placed])}
    found: dict[str, list[Hold]] = {}
    for row in placed:
        if row.hold in holds:
            found.setdefault(row.case, []).append(holds[row.hold])
    return {case: sorted(rows, key=lambda hold: (len(hold.hold), hold.hold)) for case, rows in found.items()}


def _seen(row: Case, holds: list[Hold]) -> CaseSeen:
    return CaseSeen(
        case=row.case,
        why=row.why,
        reason=row.reason,
        suspect=suspect_of(row),
        action=row.action,
        opened_at=instant_text(row.opened_ms),
        open=row.open,
        holds=len(holds),
        open_holds=sum(hold.open for hold in holds),
        fact=row.address,
        decision=row.decision,
        closed_with_unaccounted=row.unaccounted,
    )


def _hold_seen(hold: Hold) -> CaseHoldSeen:
    return CaseHoldSeen(
        hold=hold.hold,
        node=hold.node,
        rule=hold.rule,
        open=hold.open,
        recall=hold.recall,
        lifted_by_one=hold.open and bool(hold.lifted_by),
    )
