"""What a station may take back by itself: what it said wrongly a moment ago, and nothing that anything rests on.

A correction is the quality lead's.  Who records at the line mistypes, though, and sees it at once; until somebody of
quality came, the book would go on from a wrong count.  So an account without the role of quality may withdraw facts
(never replace one) that

- it said itself, less than eight hours ago by the service's clock, the length of a shift (common practice, no source),
- are of a kind in `TAKEN_BACK`, which holds nothing that stops or frees product: a hold is placed by whoever sees
  trouble, and lifted by quality alone,
- show no breach: what a breach holds is for quality to dispose of, and would else be free again by a withdrawal,
- and of which nothing was said since: no later fact stands about the lot or ball that it is about first.  A loss and a
  change in mid-lot need not be the last, since nothing that came later was checked against them in its favour.

It is looked at before the submission is queued, for pages and for programs alike; what is entered between the look and
the entry is left to the line, which refuses a withdrawal that would leave facts about nothing and holds a shortage.
The withdrawn fact, its author, the reason and the hour stay in the book.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from msgspec import UNSET

from ledger.access.roles import MAY_SAY
from ledger.access.tokens import Account
from ledger.errors import Forbidden, LedgerError, RuleStands, UnknownSubject
from ledger.line.corrections import Correction
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.record import Record
from ledger.line.rows import Body, BreachRow, FactRow
from ledger.line.submission import Submission, said_records
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with
from ledger.store.station_lots import facts_after

TAKEN_BACK_MS = 8 * 3_600_000
"""How long after it was recorded a fact may be taken back by who said it."""

TAKEN_BACK = frozenset(
    {
        *("material-received", "batch-mixed", "blocks-moulded", "cores-poured", "shells-poured"),
        *("lot-worked", "lot-changed", "lot-split", "lots-merged", "pieces-lost", "lot-recounted"),
        *("unit-started", "unit-worked", "ball-engraved", "inspection", "temperature-logged"),
    }
)
"""Kinds of facts that who said them may take back."""

_RESTED_ON_BY_NOTHING = frozenset({"pieces-lost", "lot-changed"})
_ASK = "ask the quality lead to correct it"


LOOKED_AT: frozenset[type[Record]] = frozenset({Correction})
"""Kinds for which `check_said_undone` may have to look into the store."""


def check_said_undone(store: Store, submission: Submission, account: Account, now_ms: int) -> None:
    """Return if the corrections of a submission are the account's to make. Raises Forbidden or RuleStands.

    A fact that is not standing is left to the check of the record.
    """
    if "quality" in account.roles:
        return
    corrections = [record for record in said_records(submission) if isinstance(record, Correction)]
    if not corrections:
        return
    with open_reader(store) as reader:
        if reader.requested(account.account, submission.key) is not None:
            return  # the writer answers with the entry of that key, or refuses another request under it
        for correction in corrections:
            if any(change.replacement is not UNSET for change in correction.changes):
                raise _forbidden("a fact is replaced by the quality lead alone", "changes")
            refusal = undo_refusal(reader, [change.fact for change in correction.changes], account, now_ms)
            if refusal is not None:
                raise refusal


def undo_refusal(reader: Reader, facts: Sequence[str], account: Account, now_ms: int) -> LedgerError | None:
    """Why an account may not withdraw these facts together; None where it may. One query a fact, and three for all."""
    rows: list[FactRow] = rows_with(reader, FactRow, "address", facts)
    missing = sorted(set(facts) - {row.address for row in rows})
    if missing:
        # It could be anybody's, and of any kind, by the time that the correction is entered.
        return UnknownSubject(f"fact {missing[0]} is not in the book", where="changes", mend="correct the address")
    for row in rows:
        refusal = _whose(row, account, now_ms)
        if refusal is not None:
            return refusal
    breaches: list[BreachRow] = rows_with(reader, BreachRow, "address", facts)
    if breaches:
        return RuleStands(
            f"fact {breaches[0].address} shows a breach, and what it holds is for quality to dispose of",
            got=breaches[0].code,
            where="changes",
            mend=_ASK,
        )
    return _rested_on(reader, rows, facts)


def _whose(row: FactRow, account: Account, now_ms: int) -> LedgerError | None:
    if row.author != account.account:
        return _forbidden(f"fact {row.address} was said by another account", "changes")
    if row.kind not in TAKEN_BACK or MAY_SAY[row.kind].isdisjoint(account.roles):
        return _forbidden(f"fact {row.address} ({row.kind}) is corrected by the quality lead alone", "changes")
    if now_ms - row.recorded_ms > TAKEN_BACK_MS:
        return RuleStands(
            f"fact {row.address} was recorded more than 8 hours ago", got=row.kind, where="changes", mend=_ASK
        )
    return None


def _rested_on(reader: Reader, rows: Sequence[FactRow], facts: Collection[str]) -> LedgerError | None:
    bodies: dict[str, Body] = {body.address: body for body in rows_with(reader, Body, "address", facts)}
    for row in rows:
        if row.kind in _RESTED_ON_BY_NOTHING or row.address not in bodies:
            continue
        record = bodies[row.address].fact.record
        first = next(iter(PLAIN_KIND_OF[type(record)].about(record)), "")
        later = facts_after(reader.transaction, first, (row.index, row.position), len(facts) + 1)
        rests = next((address for address in later if address not in facts), None)
        if rests is not None:
            return RuleStands(
                f"fact {rests} was said of {first.partition(':')[2]} since fact {row.address}",
                where="changes",
                mend=_ASK,
            )
    return None


def _forbidden(problem: str, where: str) -> Forbidden:
    return Forbidden(problem, expected="quality", where=where, mend=_ASK)
