"""Closings of cases and their letters: checked against the balls and the store before they are queued.

The line lets a case be closed once its holds are lifted; whether its balls are accounted for takes the whole set below the
suspect, so that it is looked up here.  A ball that is answered for, sent out or made between the two is not counted: it is as
one that changed after the closing.  A letter that a record names is stored here.

A key that was used already is left to the writer, which enters nothing for it.
"""

from __future__ import annotations

from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.case_view import reconciliation_of
from ledger.application.said_places import said_places
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.case_rows import Case
from ledger.line.cases import CaseClosed, CaseNoticed, CaseOpened
from ledger.line.corrections import Correction
from ledger.line.record import Record
from ledger.line.submission import Submission, said_records
from ledger.store.blobs import blob_ends
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader

LOOKED_AT: frozenset[type[Record]] = frozenset({CaseClosed, CaseNoticed, Correction})
"""Kinds for which `check_said_cases` has to look into the store."""


def check_said_cases(store: Store, submission: Submission, account: Account) -> None:
    """Check the closings and letters among the records of a submission (see above).

    Raises RuleStands where a closing does not name the balls that are unaccounted for, UnknownSubject for a letter that is
    not stored.  Costs nothing where there are none, and a row a ball for a closing.
    """
    records = said_records(submission)
    if LOOKED_AT.isdisjoint(map(type, records)):
        return
    with open_reader(store) as reader:
        if reader.requested(account.account, submission.key) is not None:
            return
        opened = {record.case for record in records if isinstance(record, CaseOpened)}
        for one in said_places(records):
            record, where = one.record, one.where
            if (
                isinstance(record, CaseClosed)
                and record.case not in opened
                and reader.one(Case, record.case) is not None
            ):
                _check_closing(reader, record, where)
            elif isinstance(record, CaseNoticed) and not blob_ends(reader.transaction, [record.letter]):
                raise UnknownSubject(
                    f"letter {record.letter} is not stored",
                    where=f"{where}.letter",
                    mend="make it here, or send its file",
                )


def _check_closing(reader: Reader, record: CaseClosed, where: str) -> None:
    left = reconciliation_of(reader, record.case).unaccounted
    said = 0 if record.closed_with_unaccounted is UNSET else record.closed_with_unaccounted
    if said != left:
        raise RuleStands(
            f"{left} balls of case {record.case} are unaccounted for",
            expected=f"closed_with_unaccounted {left}" if left else "no closed_with_unaccounted",
            got=said,
            where=f"{where}.closed_with_unaccounted",
            mend="enter what consignees answer, or close it naming that count, with the reason",
        )
