"""Answers of consignees line by line: each accepted or refused with its reason, nothing in between.

A file is CSV (RFC 4180, UTF-8) with a head: ``answer``, and ``unit`` or ``serial``, and ``consignee`` unless one is named for
the whole file; ``to`` for what was moved; other columns are passed over, so that a notice list comes back as it went.  A
line without an answer is silence, and is not entered.  Words may be written ``in stock`` or ``in-stock``.

A number that several balls bear is that of the one which was sent there, where it is one; else the line is refused.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any, NamedTuple, get_args

import msgspec
from msgspec import UNSET

from ledger.access.roles import check_may_say
from ledger.access.tokens import Account
from ledger.application.case_balls import known_case_row
from ledger.application.numbers import serial_rows
from ledger.application.pourbook import Pourbook
from ledger.application.said_before import said_before
from ledger.book.instant import Instant, format_instant
from ledger.errors import Contradiction, MalformedInput, TooLarge
from ledger.line.case_answers import BallAnswer, CaseAnswered, Said
from ledger.line.case_rows import CaseAnswer, Consignee
from ledger.line.record import Record
from ledger.line.rows import Shipped, Unit
from ledger.line.submission import Submission
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with

MOST_LINES = 50_000
TOGETHER = 80
"""Answers of one consignee in one entry: with the longest ids, and both breaches on each, they stay within its bytes."""
MOST_TOLD = 1_000

_WORDS = get_args(Said)


class AnswerLine(NamedTuple):
    """One line as it came: its number in the file (the head is line 1), and its cells, empty where there is none."""

    line: int
    consignee: str
    unit: str
    serial: str
    answer: str
    to: str


class LineRefused(msgspec.Struct, frozen=True, kw_only=True):
    """A line that was not entered, and why."""

    line: int
    ball: str
    reason: str


class LineDoubted(msgspec.Struct, frozen=True, kw_only=True):
    """What is wrong with an answer that was entered."""

    fact: str
    code: str
    said: str


class AnswersTaken(msgspec.Struct, frozen=True, kw_only=True):
    """What became of the lines: ``accepted`` were entered, ``silent`` said nothing. ``more``: over 1,000 of a list."""

    case: str
    accepted: int
    silent: int
    refused: tuple[LineRefused, ...]
    doubted: tuple[LineDoubted, ...]
    entries: tuple[int, ...]
    more: bool


class _Good(NamedTuple):
    """The answers that are entered, by consignee, and the lines that are not."""

    answers: dict[str, list[BallAnswer]]
    refused: list[LineRefused]


def read_answers(raw: bytes, consignee: str = "") -> list[AnswerLine]:
    """The lines of a file. ``consignee``: who answers, where the file does not say. Raises MalformedInput, TooLarge."""
    try:
        rows = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise MalformedInput("file is not CSV in UTF-8", where="body", mend="save it as CSV, UTF-8") from error
    if len(rows) > MOST_LINES + 1:
        raise TooLarge("file has too many lines", expected=f"at most {MOST_LINES}", got=len(rows) - 1, where="body")
    head = [name.strip().lower() for name in rows[0]] if rows else []
    needed = {"answer"} | (set() if consignee else {"consignee"})
    if not needed <= set(head) or not {"unit", "serial"} & set(head) or len(set(head)) != len(head):
        raise MalformedInput(
            "file has not the columns of answers",
            expected=", ".join(sorted(needed)) + ", and unit or serial",
            got=", ".join(head),
            where="line 1",
            mend="send the notice list back with its head as it was",
        )
    return [
        _line(number, dict(zip(head, row, strict=False)), consignee) for number, row in enumerate(rows[1:], 2) if row
    ]


def _line(number: int, cells: dict[str, str], consignee: str) -> AnswerLine:
    told = {name: cells.get(name, "").strip().removeprefix("'") for name in ("consignee", "unit", "serial", "to")}
    answer = "-".join(cells.get("answer", "").lower().replace("-", " ").split())
    return AnswerLine(number, told["consignee"] or consignee, told["unit"], told["serial"], answer, told["to"])


def take_answers(book: Pourbook, case: str, lines: Sequence[AnswerLine], key: str, account: Account) -> AnswersTaken:
    """Enter the answers of lines that can be, and tell the others. The same key and lines give the same entries again.

    Raises NotFound, Contradiction for a case that is closed, KeyReused, Forbidden.
    """
    check_may_say(account.roles, "case-answered")
    said = [line for line in lines if line.answer]
    at = format_instant(Instant(book.clock_ms(), 0))
    with open_reader(book.store) as reader:
        row = known_case_row(reader, case)
        good = _sort(reader, case, said)
        submissions = list(_submissions(reader, good, key, account.account, case=case, at=at))
    if not row.open and not all(fresh is False for _, fresh in submissions):
        raise Contradiction(f"case {case} is closed", where="case", mend="open a new case on the same suspect")
    entered = [book.submit(submission, account) for submission, _ in submissions]
    done = [one.result() for one in entered]
    doubted = [
        LineDoubted(fact=address, code=breach.code, said=breach.said)
        for one in done
        for address, breaches in zip(one.addresses, one.breaches, strict=True)
        for breach in breaches
    ]
    return AnswersTaken(
        case=case,
        accepted=sum(map(len, good.answers.values())),
        silent=len(lines) - len(said),
        refused=tuple(good.refused[:MOST_TOLD]),
        doubted=tuple(doubted[:MOST_TOLD]),
        entries=tuple(one.index for one in done),
        more=len(good.refused) > MOST_TOLD or len(doubted) > MOST_TOLD,
    )


def _submissions(
    reader: Reader, good: _Good, key: str, author: str, *, case: str, at: str
) -> Iterable[tuple[Submission, bool]]:
    """The submissions of the answers, each with whether it is said for the first time."""
    number = 0
    for consignee, answers in good.answers.items():
        for start in range(0, len(answers), TOGETHER):
            number += 1
            record = CaseAnswered(
                at=at, case=case, consignee=consignee, answers=tuple(answers[start : start + TOGETHER])
            )
            own = f"{key}.{number}"
            if len(own) > 100:
                raise MalformedInput("key is too long", expected="at most 90 characters", where="Idempotency-Key")
            before = said_before(reader, author, own, partial(_is_same, record))
            yield Submission(key=own, records=before or (record,)), before is None


def _is_same(record: CaseAnswered, records: tuple[Record, ...]) -> bool:
    return len(records) == 1 and records[0] == msgspec.structs.replace(record, at=records[0].at)


def _sort(reader: Reader, case: str, lines: Sequence[AnswerLine]) -> _Good:
    """Tell the lines that can be entered from the others."""
    named = sorted({name for line in lines for name in (line.consignee, line.to) if name})
    known = {row.consignee for row in rows_with(reader, Consignee, "consignee", named)}
    units = {row.unit for row in rows_with(reader, Unit, "unit", sorted({line.unit for line in lines if line.unit}))}
    answers: dict[str, list[BallAnswer]] = {}
    refused: list[LineRefused] = []
    seen: dict[tuple[str, str], int] = {}
    for line in lines:
        found, reason = _ball(reader, case, line, units)
        reason = _wrong(line, known) or reason
        if not reason and (line.consignee, found) in seen:
            reason = f"line {seen[line.consignee, found]} answers for this ball already"
        if reason:
            refused.append(LineRefused(line=line.line, ball=line.unit or line.serial, reason=reason))
            continue
        seen[line.consignee, found] = line.line
        said: Any = line.answer
        answers.setdefault(line.consignee, []).append(BallAnswer(said=said, unit=found, to=line.to or UNSET))
    return _Good(answers, refused)


def _wrong(line: AnswerLine, known: set[str]) -> str:
    """What is wrong with a line apart from its ball; empty where nothing is."""
    if line.consignee not in known:
        return f"consignee {line.consignee or '(none)'} is not in the register"
    if line.answer not in _WORDS:
        return f"answer is not one of {', '.join(_WORDS)}: {line.answer[:40]}"
    if line.to and line.answer != "moved":
        return "only what was moved went to another: leave the column to empty"
    if line.to and line.to not in known:
        return f"consignee {line.to} is not in the register"
    return ""


def _ball(reader: Reader, case: str, line: AnswerLine, units: set[str]) -> tuple[str, str]:
    """The unit that a line answers for, or why none can be told."""
    if line.unit:
        return (line.unit, "") if line.unit in units else ("", f"unit {line.unit} is not in the book")
    if not line.serial:
        return "", "neither unit nor serial is given"
    bearers = sorted({row.unit for row in serial_rows(reader, line.serial)})
    if len(bearers) == 1:
        return bearers[0], ""
    sent = {row.unit for row in rows_with(reader, Shipped, "unit", bearers) if row.consignee == line.consignee}
    moved = {
        row.unit
        for row in rows_with(reader, CaseAnswer, "unit", bearers)
        if row.case == case and row.to == line.consignee
    }
    here = sorted(unit for unit in sent | moved if unit is not None)
    if len(here) == 1:
        return here[0], ""
    if not bearers:
        return "", f"no ball of this book bears {line.serial}"
    return "", f"{len(bearers)} balls bear {line.serial}: send the unit"
