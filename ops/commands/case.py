"""`pourbook case`: the cases of a book, one case whole, or its balls added up to the last one.

`list` has a line a case; `show` says what is suspected, what stands and what was answered; `reconcile` adds the balls up and
ends with 1 while some are unaccounted for, so that a script can wait for it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from ledger.application.case_view import CaseSeen, CaseView, case_view, cases_of, reconciliation_of
from ledger.line.suspects import Suspect
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.warranty.notice_letter import CAUTION
from ledger.warranty.reconciliation import Reconciliation
from ops.collector import settle_collector

HOLDS_SHOWN = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the three questions and what each takes."""
    questions = parser.add_subparsers(dest="question", required=True, metavar="list|show|reconcile")
    _with_store(questions.add_parser("list", help="every case, the open ones first"))
    for name, purpose in (
        ("show", "one case whole"),
        ("reconcile", "its balls added up; 1 while some are unaccounted"),
    ):
        asked = questions.add_parser(name, help=purpose)
        asked.add_argument("case", help="id of the case")
        _with_store(asked)


def _with_store(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")


def run(arguments: argparse.Namespace) -> int:
    """Print the answer; 0, 1 from `reconcile` while balls are unaccounted for, or an error of `ledger.errors`."""
    settle_collector()
    store = open_store(arguments.store_url, migrate=False)
    code = 0
    try:
        with open_reader(store) as reader:
            if arguments.question == "list":
                lines = [case_line(seen) for seen in cases_of(reader)] or ["no case was opened"]
            elif arguments.question == "show":
                lines = list(view_lines(case_view(reader, arguments.case)))
            else:
                summed = reconciliation_of(reader, arguments.case)
                lines, code = list(sum_lines(summed)), 1 if summed.unaccounted else 0
    finally:
        store.close()
    print("\n".join(lines))
    return code


def case_line(seen: CaseSeen) -> str:
    """One case in a line."""
    state = "open" if seen.open else f"closed, {seen.decision}"
    holds = f"{seen.open_holds} of {seen.holds} holds stand" if seen.holds else "no hold"
    action = "no action" if seen.action == "none" else seen.action
    return f"{seen.case}  {state}  {action}  {holds}  {suspect_words(seen.suspect)}  ({seen.reason}, {seen.opened_at[:10]})"


def suspect_words(suspect: Suspect) -> str:
    """A suspect in words: "mould MS-1 from ... to ..."."""
    told = [suspect.sort.replace("-", " ")]
    if isinstance(suspect.name, str):
        told.append(suspect.name)
    if isinstance(suspect.serial_prefix, str):
        told.append(f"beginning with {suspect.serial_prefix}")
    if isinstance(suspect.first_serial, str):
        told.append(f"{suspect.first_serial} to {suspect.last_serial}")
    for word, end in (("from", suspect.from_at), ("to", suspect.to_at)):
        if isinstance(end, str):
            told.append(f"{word} {end}")
    return " ".join(told)


def view_lines(view: CaseView) -> Iterator[str]:
    """One case for a report."""
    yield case_line(view.case)
    yield ""
    yield from sum_lines(view.reconciliation)
    for piece in view.pieces:
        amount = f"{piece.certain + piece.possible} {'grams' if piece.unit == 'g' else 'pieces'} left"
        yield f"  lots of stage {piece.stage}: {piece.lots}, {amount} ({piece.possible} possible), {piece.lost} taken out"
    if view.holds:
        yield ""
    for hold in view.holds[:HOLDS_SHOWN]:
        waits = ", lifted by one of two" if hold.lifted_by_one else ""
        on = hold.node if hold.rule is None else f"rule {hold.rule}"
        yield f"  hold {hold.hold} on {on}: {'open' if hold.open else 'lifted'}{waits}"
    if len(view.holds) > HOLDS_SHOWN:
        yield f"  and {len(view.holds) - HOLDS_SHOWN} further holds"
    for notice in view.notices:
        yield f"  letter to {notice.consignee}, {notice.action}, {notice.balls} balls, {notice.made_at[:10]}: {notice.letter}"
    for ball in view.answers_elsewhere:
        yield f"  answered for, and not of the case: {ball}"
    yield ""
    yield CAUTION


def sum_lines(summed: Reconciliation) -> Iterator[str]:
    """A case added up."""
    yield f"{summed.balls} balls, {summed.certain} certain, {summed.possible} possible"
    for place, count in summed.places.items():
        if count:
            yield f"  {place.replace('-', ' ')}: {count}"
    for one in summed.consignees:
        who = one.consignee or "outside the register"
        yield f"    {who}: {one.balls} ({', '.join(f'{count} {answer}' for answer, count in one.answers.items())})"
    yield f"unaccounted: {summed.unaccounted}"
    for told in summed.contradictions:
        yield f"  contradiction: {told}"
    if summed.more:
        yield "  and further contradictions"
