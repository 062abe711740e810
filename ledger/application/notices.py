"""Who is told of a case: the balls that each consignee holds, as a list (CSV) and as the facts of a letter."""

from __future__ import annotations

import csv
import io
from typing import BinaryIO, NamedTuple

from ledger.application.case_balls import CaseBalls, LotBall, known_case_row
from ledger.application.claim_letters import plant_name
from ledger.application.consignees import ConsigneeSeen, consignee_seen
from ledger.application.plain_cells import plain
from ledger.conformity.from_rows import day_of
from ledger.errors import RuleStands
from ledger.line.case_rows import Case, Consignee
from ledger.line.imports import ShipmentImported
from ledger.line.rows import Lot, Model
from ledger.line.shipments import Shipment
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.whereabouts import shipment_rows
from ledger.warranty.notice_letter import NoticeBall, NoticeFacts

HEAD = ("case", "consignee", "name", "unit", "serial", "model", "shipment", "sent_on", "certainty", "answer", "to")


class Held(NamedTuple):
    """The balls of a case that one holder has; ``consignee`` None: sent to somebody who is not in the register."""

    consignee: str | None
    balls: tuple[LotBall, ...]


def held_by(reader: Reader, row: Case) -> tuple[Held, ...]:
    """Every holder of balls of a case, by id, those outside the register last."""
    found: dict[str | None, list[LotBall]] = {}
    for one in CaseBalls(reader, row):
        if one.settled.answer is not None:
            found.setdefault(one.settled.holder, []).append(one)
    ordered = sorted(found, key=lambda name: (name is None, name or ""))
    return tuple(Held(name, tuple(found[name])) for name in ordered)


def write_notices(reader: Reader, case: str, *, out: BinaryIO) -> int:
    """Write the notice list of a case: one line a ball, by consignee; how many. Raises NotFound.

    ``answer`` and ``to`` are what was answered so far (in words of the answers, empty for none): the file comes back with
    them filled in.  Who balls outside the register went to stands in their shipment.
    """
    row = known_case_row(reader, case)
    text = io.StringIO(newline="")
    lines = csv.writer(text, lineterminator="\r\n")
    lines.writerow(HEAD)
    count = 0
    models = Models(reader)
    for held in held_by(reader, row):
        names = _names(reader, held)
        for one, ball in zip(held.balls, models.balls(held.balls), strict=True):
            said = one.settled.answer if one.settled.answer != "unaccounted" else ""
            sent = "" if ball.sent_on is None else ball.sent_on.isoformat()
            known = (case, held.consignee or "", names.get(ball.shipment, names.get("", "")), one.ball.unit)
            told = (ball.serial, ball.model, ball.shipment, sent, one.settled.ball.certainty, said or "", "")
            lines.writerow(map(plain, (*known, *told)))
            count += 1
        out.write(text.getvalue().encode())
        text.seek(0)
        text.truncate()
    out.write(text.getvalue().encode())
    return count


def _names(reader: Reader, held: Held) -> dict[str, str]:
    """The name of a registered consignee under the empty text; else the name that each shipment states."""
    if held.consignee is not None:
        row = reader.one(Consignee, held.consignee)
        return {"": held.consignee if row is None else consignee_seen(reader, row, 0).name}
    shipments = {one.settled.ball.shipment for one in held.balls if one.settled.ball.shipment is not None}
    found = {}
    for shipment, told in shipment_rows(reader, shipments).items():
        fact = reader.fact(told.fact)
        record = None if fact is None else fact.record
        if isinstance(record, Shipment | ShipmentImported) and isinstance(record.consignee, str):
            found[shipment] = record.consignee
    return found


class Models:
    """Names the models of balls; remembers what it looked up."""

    def __init__(self, reader: Reader) -> None:
        """Within the reader's look."""
        self._reader = reader
        self._of_lot: dict[str, str] = {}

    def balls(self, balls: tuple[LotBall, ...]) -> list[NoticeBall]:
        """Balls as a notice names them."""
        self._look_up({one.ball.lot for one in balls})
        return [
            NoticeBall(
                serial=one.ball.serial or one.ball.unit,
                model=self._of_lot.get(one.ball.lot, ""),
                weight_class=one.ball.weight_class,
                shipment=one.settled.ball.shipment or "",
                sent_on=None if one.settled.ball.sent_ms is None else day_of(one.settled.ball.sent_ms),
                possible=one.settled.ball.certainty == "possible",
            )
            for one in balls
        ]

    def _look_up(self, lots: set[str]) -> None:
        rows: list[Lot] = rows_with(self._reader, Lot, "lot", sorted(lots - self._of_lot.keys()))
        models: dict[str, Model] = {
            row.model: row
            for row in rows_with(self._reader, Model, "model", sorted({row.model for row in rows if row.model}))
        }
        for row in rows:
            model = models.get(row.model or "")
            self._of_lot[row.lot] = row.model or "" if model is None else f"{model.brand} {model.name}".strip()


def letter_facts(reader: Reader, row: Case, held: Held, now_ms: int) -> NoticeFacts:
    """What the letter to a holder is made from. Raises RuleStands where no action is ordered yet."""
    if row.action not in {"stop-sale", "recall"}:
        raise RuleStands(
            f"case {row.case} has no action yet",
            expected="stop-sale or recall",
            got=row.action,
            where="case",
            mend="order the action first; a letter says what was ordered",
        )
    known = None if held.consignee is None else reader.one(Consignee, held.consignee)
    seen = None if known is None else consignee_seen(reader, known, len(held.balls))
    return NoticeFacts(
        plant=plant_name(reader),
        to=(held.consignee or "",) if seen is None else address_lines(seen),
        on=day_of(now_ms),
        case=row.case,
        consignee=held.consignee or "",
        action=row.action,  # type: ignore[arg-type]  # one of the two, as checked
        reason=row.reason,
        balls=tuple(Models(reader).balls(held.balls)),
    )


def address_lines(seen: ConsigneeSeen) -> tuple[str, ...]:
    """Name and address, one line each."""
    return (seen.name, *seen.address)
