"""The balls of a case, one by one: where each is, who holds it, and what was answered; as lines of JSON or of CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import BinaryIO, Literal, NamedTuple

import msgspec

from ledger.application.histories import instant_text
from ledger.application.plain_cells import plain
from ledger.application.suspect_set import SuspectBall, SuspectSet
from ledger.errors import NotFound
from ledger.line.case_answers import suspect_of
from ledger.line.case_rows import Case, CaseAnswer
from ledger.line.rows import SerialRow, Shipped
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.suspects import SuspectUnit, sent_to
from ledger.warranty.places import place_of
from ledger.warranty.reconciliation import Answer, CaseBall, Settled, settle

Form = Literal["ndjson", "csv"]
MEDIA_TYPES: dict[str, str] = {"ndjson": "application/x-ndjson", "csv": "text/csv; header=present"}

_CHUNK = 2_000

HEAD = ("unit", "serial", "lot", "certainty", "place", "shipment", "sent_at", "consignee", "answer", "remarks")


class BallLine(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One ball of a case. ``consignee`` holds it, as far as the book and the answers say; ``answer`` is his."""

    unit: str
    lot: str
    certainty: str
    place: str
    serial: str = ""
    shipment: str = ""
    sent_at: str = ""
    consignee: str = ""
    answer: str = ""
    remarks: tuple[str, ...] = ()


class LotBall(NamedTuple):
    """A ball of a case, and how it was settled."""

    ball: SuspectUnit
    settled: Settled


class CaseBalls:
    """The balls of one case within one look at the store."""

    def __init__(self, reader: Reader, row: Case) -> None:
        """Trace the suspect, and read what was answered. Raises NotFound where the suspect is gone from the book."""
        self._reader = reader
        self.row = row
        self.found = SuspectSet(reader, suspect_of(row))
        self._answers, self.strangers = _answers_by_unit(reader, row.case)
        self._answered = set(self._answers)

    def __iter__(self) -> Iterator[LotBall]:
        """Every ball in the order of lots and units. Two queries for each 2,000 of them beside the balls' own."""
        chunk: list[SuspectBall] = []
        for one in self.found.balls():
            chunk.append(one)
            if len(chunk) >= _CHUNK:
                yield from self._settled(chunk)
                chunk = []
        yield from self._settled(chunk)

    def not_of_case(self) -> list[str]:
        """The balls that were answered for and are not of the case, after all of its balls were gone through."""
        return sorted(self._answered)

    def _settled(self, chunk: Sequence[SuspectBall]) -> Iterator[LotBall]:
        shipments = {one.ball.where[1] for one in chunk if one.ball.where[1] is not None}
        sent = sent_to(self._reader, sorted(shipments))
        answered = [one.ball.unit for one in chunk if one.ball.unit in self._answers]
        back: dict[str, int] = {}
        for row in rows_with(self._reader, Shipped, "unit", answered):
            if row.back_ms is not None:
                back[row.unit] = max(row.back_ms, back.get(row.unit, 0))
        for one in chunk:
            state, away = one.ball.where
            at_ms, consignee = sent.get(away or "", (None, None))
            self._answered.discard(one.ball.unit)
            ball = CaseBall(
                unit=one.ball.unit,
                serial=one.ball.serial,
                certainty=one.certainty,
                place=place_of(state, away),
                sent_to=consignee,
                sent_ms=at_ms,
                shipment=away,
                answers=self._answers.get(one.ball.unit, ()),
                back_ms=back.get(one.ball.unit),
            )
            yield LotBall(one.ball, settle(ball))


def known_case_row(reader: Reader, case: str) -> Case:
    """The row of a case. Raises NotFound."""
    row = reader.one(Case, case)
    if row is None:
        raise NotFound(f"case {case} is not in the book", where="case", mend="look the cases up")
    return row


def write_balls(reader: Reader, case: str, *, out: BinaryIO, form: Form = "ndjson") -> int:
    """Write every ball of a case to ``out``, one a line; how many. Memory is that of one chunk. Raises NotFound."""
    count, text = 0, io.StringIO(newline="")
    lines = csv.writer(text, lineterminator="\r\n")
    if form == "csv":
        lines.writerow(HEAD)
    for one in CaseBalls(reader, known_case_row(reader, case)):
        line = ball_line(one)
        if form == "csv":
            lines.writerow(plain(_cell(getattr(line, column))) for column in HEAD)
        else:
            text.write(msgspec.json.encode(line).decode() + "\n")
        count += 1
        if count % _CHUNK == 0:
            _flush(text, out)
    _flush(text, out)
    return count


def ball_line(one: LotBall) -> BallLine:
    """A ball as it is told."""
    ball = one.settled.ball
    return BallLine(
        unit=ball.unit,
        serial=ball.serial or "",
        lot=one.ball.lot,
        certainty=ball.certainty,
        place=ball.place,
        shipment=ball.shipment or "",
        sent_at="" if ball.sent_ms is None else instant_text(ball.sent_ms),
        consignee=one.settled.holder or "",
        answer=one.settled.answer or "",
        remarks=one.settled.remarks,
    )


def _cell(value: str | tuple[str, ...]) -> str:
    return value if isinstance(value, str) else "; ".join(value)


def _flush(text: io.StringIO, out: BinaryIO) -> None:
    out.write(text.getvalue().encode())
    text.seek(0)
    text.truncate()


def _answers_by_unit(reader: Reader, case: str) -> tuple[dict[str, tuple[Answer, ...]], list[str]]:
    """The answers of a case by ball, the later of one consignee about it; and the numbers that no ball bears."""
    rows = sorted(reader.rows(CaseAnswer, "case", case), key=lambda row: tuple(map(int, row.address.split("."))))
    numbers = [row.serial for row in rows if row.unit is None and row.serial is not None]
    bearers: dict[str, list[str]] = {}
    for row in rows_with(reader, SerialRow, "serial", dict.fromkeys(numbers)):
        if row.unit not in bearers.setdefault(row.serial, []):
            bearers[row.serial].append(row.unit)
    found: dict[str, dict[str, Answer]] = {}
    for row in rows:
        answer = Answer(row.consignee, row.said, row.at_ms, row.to)
        units = [row.unit] if row.unit is not None else bearers.get(row.serial or "", [])
        # A number that several balls bear is one of them only: which, is not said.
        if len(units) == 1:
            found.setdefault(units[0], {})[row.consignee] = answer
    unclear = sorted({number for number in numbers if len(bearers.get(number, [])) != 1})
    return {unit: tuple(answers.values()) for unit, answers in found.items()}, unclear
