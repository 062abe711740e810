"""A warranty question about a number: what the views know of each ball that it may be, put before `ledger.warranty`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from ledger.application.ball_view import selected_ball
from ledger.application.cure_times import cure_times
from ledger.application.histories import RuleHolds
from ledger.application.numbers import serial_rows, typed_serial
from ledger.conformity.from_rows import day_of
from ledger.errors import MalformedRecord
from ledger.line.rows import (
    About,
    Allotment,
    BreachRow,
    Claim,
    Concession,
    Descent,
    FactRow,
    Hold,
    Lot,
    Model,
    SerialRow,
    Unit,
)
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with
from ledger.tracing.back import Trace, trace_back
from ledger.tracing.forward import trace_forward
from ledger.warranty.answer import (
    BallRecord,
    Cure,
    EarlierClaim,
    LotRecord,
    Question,
    Remark,
    RemarkSort,
    SisterClaims,
    WarrantyAnswer,
    answer_question,
)
from ledger.warranty.terms import Term

SISTER_STAGES = frozenset({"block", "core", "shell"})
"""The lots whose balls are sisters: what they share is rare enough to say something."""


def warranty_answer(  # a question and what it is asked with
    reader: Reader,
    serial: str,
    *,
    bought_on: str | None,
    asked_on: str | None,
    now_ms: int,
    market: str = "",
    terms: Sequence[Term] = (),
) -> WarrantyAnswer:
    """The answer about a number as typed. Raises MalformedRecord for a date that is none."""
    text = typed_serial(serial)
    question = Question(
        serial=text,
        on=day_of(now_ms) if asked_on is None else _date(asked_on, "on"),
        bought_on=None if bought_on is None else _date(bought_on, "bought_on"),
        market=market,
    )
    units = dict.fromkeys(row.unit for row in serial_rows(reader, serial))
    sisters = _Sisters(reader)
    balls = [_ball_record(reader, unit, sisters) for unit in units]
    return answer_question(question, balls, terms, issued=reader.one(Allotment, text) is not None)


def _date(text: str, where: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text) if len(text) == 10 else dt.date.fromisoformat("")
    except ValueError as error:
        raise MalformedRecord(
            "no such date",
            expected="YYYY-MM-DD of a real day",
            got=text,
            where=where,
            mend="send the date as YYYY-MM-DD",
        ) from error


def _ball_record(reader: Reader, name: str, sisters: _Sisters) -> BallRecord:
    one = selected_ball(reader, name)
    unit, lot = one.unit, one.lot
    model = None if lot.model is None else reader.one(Model, lot.model)
    trace = trace_back(StoredEdges(reader), lot.lot, unit.place)
    names = [lot.lot, *(above.lot for above in trace.ancestors)]
    lots: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", names)}
    remarks = _remarks(reader, unit, lots)
    cures = _cures(reader, unit, lots)
    return BallRecord(
        unit=unit.unit,
        serial=unit.serial,
        model=lot.model or "",
        model_name="" if model is None else model.name,
        made_on=day_of(unit.engraved_ms or unit.began_ms),
        weight_class=unit.weight_class,
        state=unit.state,
        grade=unit.grade,
        facts=tuple(row.serial_row for row in reader.rows(SerialRow, "unit", name)),
        remarks=remarks.get(f"unit:{name}", ()),
        lots=_lot_records(unit, lots, trace, (remarks, cures), sisters),
        claims=_claims(reader, name),
    )


def _lot_records(
    unit: Unit,
    rows: dict[str, Lot],
    trace: Trace,
    known: tuple[dict[str, tuple[Remark, ...]], dict[str, list[Cure]]],
    sisters: _Sisters,
) -> tuple[LotRecord, ...]:
    remarks, cures = known
    named = [(unit.lot, "certain"), *((above.lot, above.certainty) for above in trace.ancestors)]
    return tuple(
        LotRecord(
            lot=name,
            stage=rows[name].stage,
            certainty="certain" if certainty == "certain" else "possible",
            remarks=remarks.get(f"lot:{name}", ()),
            cures=tuple(cures.get(name, ())),
            sisters=sisters.of(name, unit.unit) if rows[name].stage in SISTER_STAGES else None,
        )
        for name, certainty in named
        if name in rows
    )


def _remarks(reader: Reader, unit: Unit, lots: dict[str, Lot]) -> dict[str, tuple[Remark, ...]]:
    """What is on record of a ball and its lots, by node; a hold by rule is told of the ball."""
    nodes = [f"unit:{unit.unit}", *(f"lot:{name}" for name in lots)]
    found: dict[str, list[Remark]] = {}
    for breach in rows_with(reader, BreachRow, "node", nodes):
        found.setdefault(breach.node, []).append(Remark(sort="breach", said=breach.said, facts=(breach.address,)))
    by_rule = RuleHolds(reader).over(list(lots.values()), unit)
    for hold in [*rows_with(reader, Hold, "node", nodes), *by_rule]:
        # A breach's own hold says nothing that the breach does not.
        if not hold.hold.startswith("B"):
            node = hold.node if hold.rule is None else nodes[0]
            sort: RemarkSort = "hold open" if hold.open else "hold lifted"
            facts = tuple(about.address for about in reader.rows(About, "node", f"hold:{hold.hold}"))
            found.setdefault(node, []).append(Remark(sort=sort, said=f"{hold.hold}, {hold.reason}", facts=facts))
    for concession in rows_with(reader, Concession, "node", nodes):
        remark = Remark(sort="concession", said=f"on {concession.holds}", facts=(concession.concession,))
        found.setdefault(concession.node, []).append(remark)
    _add_times(reader, nodes[0], found)
    return {node: tuple(remarks) for node, remarks in found.items()}


def _add_times(reader: Reader, node: str, found: dict[str, list[Remark]]) -> None:
    rows: list[FactRow] = rows_with(
        reader, FactRow, "address", [one.address for one in reader.rows(About, "node", node)]
    )
    for row in rows:
        # When a claim was written down says nothing of the ball.
        if not row.standing or row.kind.startswith("claim-"):
            continue
        if row.doubtful:
            found.setdefault(node, []).append(Remark(sort="doubtful", said=row.kind, facts=(row.address,)))
        elif row.late:
            found.setdefault(node, []).append(Remark(sort="late", said=row.kind, facts=(row.address,)))


def _cures(reader: Reader, unit: Unit, lots: dict[str, Lot]) -> dict[str, list[Cure]]:
    edges: list[Descent] = StoredEdges(reader).parents(list(lots))
    found: dict[str, list[Cure]] = {}
    for cure in cure_times(reader, unit, list(lots.values()), edges, set(lots)):
        if cure.least_s is not None:
            found.setdefault(cure.lot, []).append(
                Cure(
                    stage=cure.stage,
                    lasted_s=cure.elapsed_s,
                    min_s=cure.least_s,
                    max_s=cure.most_s,
                    facts=(lots[cure.lot].address,),
                )
            )
    return found


def _claims(reader: Reader, unit: str) -> tuple[EarlierClaim, ...]:
    serials = [row.serial for row in reader.rows(SerialRow, "unit", unit)]
    rows: dict[str, Claim] = {claim.claim: claim for claim in reader.rows(Claim, "unit", unit)}
    rows |= {claim.claim: claim for claim in rows_with(reader, Claim, "serial", serials) if claim.unit in {None, unit}}
    return tuple(
        EarlierClaim(
            claim=claim.claim,
            mode=claim.mode,
            state=claim.state,
            facts=tuple(about.address for about in reader.rows(About, "node", f"claim:{claim.claim}")),
        )
        for claim in sorted(rows.values(), key=lambda claim: (claim.opened_ms, claim.claim))
    )


class _Sisters:
    """Claims by ball, read once, and counted for each lot that is asked about."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._claims: dict[str, list[Claim]] | None = None

    def of(self, lot: str, but: str) -> SisterClaims:
        """The claims on other balls that hold or may hold something of a lot; one clear of it by its place is none."""
        claimed = self._claimed()
        trace = trace_forward(StoredEdges(self._reader), lot)
        lots = [lot, *(below.lot for below in trace.descendants)]
        units: list[Unit] = rows_with(self._reader, Unit, "lot", lots)
        sisters = {unit.unit for unit in units if unit.unit != but and trace.of_unit(unit.lot, unit.place) is not None}
        on_sisters = [claim for unit, claims in claimed.items() if unit in sisters for claim in claims]
        facts = [f"claim:{claim.claim}" for claim in on_sisters]
        addresses = [about.address for about in rows_with(self._reader, About, "node", facts)]
        return SisterClaims(claims=len(on_sisters), balls=len(sisters), facts=tuple(addresses))

    def _claimed(self) -> dict[str, list[Claim]]:
        if self._claims is None:
            claims: list[Claim] = every_row(self._reader.transaction, Claim)
            bearers: dict[str, set[str]] = {}
            for row in rows_with(self._reader, SerialRow, "serial", {one.serial for one in claims if one.serial}):
                bearers.setdefault(row.serial, set()).add(row.unit)
            found: dict[str, list[Claim]] = {}
            for claim in claims:
                named = bearers.get(claim.serial or "", set())
                unit = claim.unit or (next(iter(named)) if len(named) == 1 else None)
                if unit is not None:
                    found.setdefault(unit, []).append(claim)
            self._claims = found
        return self._claims
