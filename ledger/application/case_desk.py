"""Containing: a case opened on a suspect, its action ordered, its holds lifted, its letters made; each in one submission.

The records are made here from what the book holds when they are asked for; the same key gives the same entry again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger.access.roles import check_may_say
from ledger.access.tokens import Account
from ledger.application.case_balls import known_case_row
from ledger.application.case_view import case_holds
from ledger.application.hold_plan import hold_plan, order_records, whole
from ledger.application.named_files import NamedFiles
from ledger.application.notices import Held, held_by, letter_facts
from ledger.application.pourbook import Pourbook
from ledger.application.said_before import said_before
from ledger.application.suspect_set import SuspectSet
from ledger.book.canonical import encode
from ledger.book.instant import Instant, format_instant
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.evidence.letter import letter_pdf
from ledger.line.case_answers import suspect_of
from ledger.line.case_rows import Case
from ledger.line.cases import Action, CaseNoticed, CaseOpened, CaseOrdered
from ledger.line.holds import HoldLifted, Stop
from ledger.line.record import Record
from ledger.line.submission import Submission
from ledger.store.reader import Reader, open_reader
from ledger.warranty.notice_letter import notice_letter

PDF = "application/pdf"
STOPS: tuple[Stop, ...] = ("release", "shipment", "use")
"""What the holds of a case stop unless it is said otherwise: nothing suspect is used up, released or sent."""


class Order(NamedTuple):
    """An action over all below the suspect of a case. ``whole_lots``: hold every lot with a suspect ball whole."""

    action: Action
    stops: tuple[Stop, ...] = STOPS
    whole_lots: bool = False


class CaseDesk:
    """What is done about suspects, over one book."""

    def __init__(self, book: Pourbook) -> None:
        """Nothing is held but the book."""
        self._book = book

    def open(self, opening: CaseOpened, order: Order | None, key: str, account: Account, future: Any = None) -> Any:
        """Open a case, and with ``order`` order its action with its holds, all at once. The future gives `Entered`.

        Raises MalformedRecord, NotFound for a suspect that the book does not know, RuleStands for one with nothing below it
        to hold, TooLarge where its holds do not fit into one submission, Contradiction, KeyReused, Forbidden.
        """
        check_may_say(account.roles, "case-opened")
        case = _as_row(opening)

        def made(reader: Reader) -> list[Record]:
            found = SuspectSet(reader, opening.suspect)
            if not found.lots and not found.ball_lots:
                raise UnknownSubject(
                    f"case {opening.case} suspects nothing that is in the book",
                    expected="a lot or ball below the suspect",
                    where="suspect",
                    mend="check the name, the serials and the span",
                )
            if order is None:
                return [opening]
            return [opening, *self._ordered(reader, case, found, order, opening.at)]

        return self._say(key, account, lambda records: _is_opening(records, opening, order), made, future)

    def order(self, case: str, order: Order, key: str, account: Account, future: Any = None) -> Any:
        """Order an action on an open case, and place its holds in the same submission. The errors are those of `open`."""
        check_may_say(account.roles, "case-ordered")

        def made(reader: Reader) -> list[Record]:
            row = _open_case(reader, case)
            return self._ordered(reader, row, SuspectSet(reader, suspect_of(row)), order, self._now())

        return self._say(key, account, lambda records: _is_order(records, case, order.action), made, future)

    def lift(self, case: str, reason: str, key: str, account: Account, future: Any = None) -> Any:
        """Lift every hold of a case that stands, in one submission. A recall takes two people, each with an entry of his.

        Raises NotFound, RuleStands where none stands, Forbidden.
        """
        check_may_say(account.roles, "hold-lifted")

        def made(reader: Reader) -> list[Record]:
            known_case_row(reader, case)
            standing = [hold.hold for hold in case_holds(reader, case) if hold.open]
            if not standing:
                raise RuleStands(
                    f"no hold of case {case} stands",
                    expected="an open hold",
                    where="case",
                    mend="nothing is left to lift",
                )
            at = self._now()
            return [HoldLifted(at=at, hold=hold, reason=reason) for hold in standing]

        def same(records: tuple[Record, ...]) -> bool:
            return all(isinstance(one, HoldLifted) and one.hold.startswith(f"{case}.") for one in records)

        return self._say(key, account, same, made, future)

    def write_letters(
        self, case: str, consignees: Sequence[str], key: str, account: Account, future: Any = None
    ) -> Any:
        """Make the letters of a case to these consignees, or to all that hold balls of it; store and enter them.

        The files are durable before the entry that names them. Raises NotFound, RuleStands where no action is ordered or
        nobody of the register holds a ball of it, UnknownSubject for a consignee that holds none.
        """
        check_may_say(account.roles, "case-noticed")
        files = NamedFiles()

        def made(reader: Reader) -> list[Record]:
            row = _open_case(reader, case)
            held = _chosen(row, held_by(reader, row), consignees)
            return [self._letter(reader, row, one, files) for one in held]

        def same(records: tuple[Record, ...]) -> bool:
            told = {one.consignee for one in records if isinstance(one, CaseNoticed) and one.case == case}
            return len(told) == len(records) and (not consignees or told == set(consignees))

        return self._say(key, account, same, made, future, files=files)

    def _letter(self, reader: Reader, row: Case, held: Held, files: NamedFiles) -> Record:
        facts = letter_facts(reader, row, held, self._book.clock_ms())
        digest = files.name(letter_pdf(notice_letter(facts)), PDF)
        return CaseNoticed(
            at=self._now(),
            case=row.case,
            consignee=facts.consignee,
            action=facts.action,
            letter=digest,
            balls=len(held.balls),
        )

    def _ordered(self, reader: Reader, row: Case, found: SuspectSet, order: Order, at: str) -> list[Record]:
        plan = hold_plan(reader, found)
        placed = len(case_holds(reader, row.case))
        return order_records(
            row, whole(plan) if order.whole_lots else plan, order.action, at=at, stops=order.stops, placed=placed
        )

    def _say(
        self,
        key: str,
        account: Account,
        same: Callable[[tuple[Record, ...]], bool],
        made: Callable[[Reader], list[Record]],
        future: Any,
        *,
        files: NamedFiles | None = None,
    ) -> Any:
        with open_reader(self._book.store) as reader:
            records = said_before(reader, account.account, key, same) or tuple(made(reader))
        if files is not None:
            files.put_into(self._book.store)
        return self._book.submit(Submission(key=key, records=records), account, future)

    def _now(self) -> str:
        return format_instant(Instant(self._book.clock_ms(), 0))


def _open_case(reader: Reader, case: str) -> Case:
    row = known_case_row(reader, case)
    if not row.open:
        raise Contradiction(f"case {case} is closed", where="case", mend="open a new case on the same suspect")
    return row


def _as_row(opening: CaseOpened) -> Case:
    """The case as it will stand once it is opened."""
    return Case(
        case=opening.case,
        why=opening.why,
        reason=opening.reason,
        suspect=encode(msgspec.to_builtins(opening.suspect)).decode(),
        action="none",
        opened_ms=0,
        open=True,
        address="",
    )


def _is_opening(records: tuple[Record, ...], opening: CaseOpened, order: Order | None) -> bool:
    """Whether records open this case with this order; a retry is made at another instant."""
    same = records[0] == msgspec.structs.replace(opening, at=records[0].at)
    if order is None:
        return same and len(records) == 1
    return same and _is_order(records, opening.case, order.action)


def _is_order(records: tuple[Record, ...], case: str, action: Action) -> bool:
    last = records[-1]
    return isinstance(last, CaseOrdered) and last.case == case and last.action == action


def _chosen(row: Case, held: Sequence[Held], consignees: Sequence[str]) -> list[Held]:
    """The holders that are written to. Raises UnknownSubject, RuleStands."""
    known = {one.consignee: one for one in held if one.consignee is not None}
    unknown = sorted(set(consignees) - known.keys())
    if unknown:
        raise UnknownSubject(
            f"consignee {unknown[0]} holds no ball of case {row.case}",
            where="consignees",
            mend="leave it out; the notice list names who holds balls",
        )
    if not known:
        raise RuleStands(
            f"nobody of the register holds a ball of case {row.case}",
            expected="balls shipped to a registered consignee",
            where="case",
            mend="nothing is left to write; balls sent to others stand in the notice list",
        )
    return [known[name] for name in (dict.fromkeys(consignees) or known)]
