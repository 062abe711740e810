"""A warranty question about a number: what the views know of each ball that it may be, put before `ledger.warranty`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from ledger.application.ball_view import selected_ball
from ledger.application.cure_times import cure_times
from ledger.application.public import typed_serial
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
from ledger.store.selections import Selected, StoredEdges, every_row, rows_with
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
    units = dict.fromkeys(row.unit for row in reader.rows(SerialRow, "serial", text))
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
    remarks = _remarks(reader, [f"unit:{name}", f"lot:{lot.lot}", *(f"lot:{above.lot}" for above in trace.ancestors)])
    cures = _cures(reader, one, trace)
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
        lots=_lot_records(reader, one, trace, (remarks, cures), sisters),
        claims=_claims(reader, name),
    )


def _lot_records(
    reader: Reader,
    one: Selected,
    trace: Trace,
    known: tuple[dict[str, tuple[Remark, ...]], dict[str, list[Cure]]],
    sisters: _Sisters,
) -> tuple[LotRecord, ...]:
    remarks, cures = known
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", [a.lot for a in trace.ancestors])}
    rows[one.lot.lot] = one.lot
    named = [(one.lot.lot, "certain"), *((above.lot, above.certainty) for above in trace.ancestors)]
    return tuple(
        LotRecord(
            lot=name,
            stage=rows[name].stage,
            certainty="certain" if certainty == "certain" else "possible",
            remarks=remarks.get(f"lot:{name}", ()),
            cures=tuple(cures.get(name, ())),
            sisters=sisters.of(name, one.unit.unit) if rows[name].stage in SISTER_STAGES else None,
        )
        for name, certainty in named
        if name in rows
    )


def _remarks(reader: Reader, nodes: list[str]) -> dict[str, tuple[Remark, ...]]:
    found: dict[str, list[Remark]] = {}
    for breach in rows_with(reader, BreachRow, "node", nodes):
        found.setdefault(breach.node, []).append(Remark(sort="breach", said=breach.said, facts=(breach.address,)))
    for hold in rows_with(reader, Hold, "node", nodes):
        if not hold.hold.startswith("B"):
            sort: RemarkSort = "hold open" if hold.open else "hold lifted"
            facts = tuple(about.address for about in reader.rows(About, "node", f"hold:{hold.hold}"))
            found.setdefault(hold.node, []).append(Remark(sort=sort, said=f"{hold.hold}, {hold.reason}", facts=facts))
    for concession in rows_with(reader, Concession, "node", nodes):
        remark = Remark(sort="concession", said=f"on {concession.holds}", facts=(concession.concession,))
        found.setdefault(concession.node, []).append(remark)
    _add_times(reader, nodes, found)
    return {node: tuple(remarks) for node, remarks in found.items()}


def _add_times(reader: Reader, nodes: list[str], found: dict[str, list[Remark]]) -> None:
    about: list[About] = rows_with(reader, About, "node", [node for node in nodes if node.startswith("unit:")])
    rows: dict[str, FactRow] = {
        row.address: row for row in rows_with(reader, FactRow, "address", {one.address for one in about})
    }
    for one in about:
        row = rows[one.address]
        if row.standing and row.doubtful:
            found.setdefault(one.node, []).append(Remark(sort="doubtful", said=row.kind, facts=(row.address,)))
        elif row.standing and row.late:
            found.setdefault(one.node, []).append(Remark(sort="late", said=row.kind, facts=(row.address,)))


def _cures(reader: Reader, one: Selected, trace: Trace) -> dict[str, list[Cure]]:
    names = [one.lot.lot, *(above.lot for above in trace.ancestors)]
    lots: list[Lot] = rows_with(reader, Lot, "lot", names)
    edges: list[Descent] = StoredEdges(reader).parents(names)
    made = {lot.lot: lot.address for lot in lots}
    found: dict[str, list[Cure]] = {}
    for cure in cure_times(reader, one.unit, lots, edges, set(names)):
        if cure.least_s is not None:
            found.setdefault(cure.lot, []).append(
                Cure(
                    stage=cure.stage,
                    lasted_s=cure.elapsed_s,
                    min_s=cure.least_s,
                    max_s=cure.most_s,
                    facts=(made[cure.lot],),
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
        self._units: dict[str, Unit] = {}

    def of(self, lot: str, but: str) -> SisterClaims:
        """The claims on other balls that hold or may hold something of a lot."""
        claimed = self._claimed()
        trace = trace_forward(StoredEdges(self._reader), lot)
        lots = {lot, *(below.lot for below in trace.descendants)}
        on_sisters = [
            claim
            for unit, claims in claimed.items()
            if unit != but and self._units[unit].lot in lots
            for claim in claims
        ]
        facts = [f"claim:{claim.claim}" for claim in on_sisters]
        addresses = [about.address for about in rows_with(self._reader, About, "node", facts)]
        return SisterClaims(claims=len(on_sisters), balls=self._balls(lots) - 1, facts=tuple(addresses))

    def _claimed(self) -> dict[str, list[Claim]]:
        if self._claims is None:
            claims: list[Claim] = every_row(self._reader.transaction, Claim)
            bearers: dict[str, list[SerialRow]] = {}
            for row in rows_with(self._reader, SerialRow, "serial", {one.serial for one in claims if one.serial}):
                bearers.setdefault(row.serial, []).append(row)
            found: dict[str, list[Claim]] = {}
            for claim in claims:
                named = [] if claim.serial is None else bearers.get(claim.serial, [])
                unit = claim.unit or (named[0].unit if len(named) == 1 else None)
                if unit is not None:
                    found.setdefault(unit, []).append(claim)
            self._units = {unit.unit: unit for unit in rows_with(self._reader, Unit, "unit", list(found))}
            self._claims = {unit: claims for unit, claims in found.items() if unit in self._units}
        return self._claims

    def _balls(self, lots: set[str]) -> int:
        return sum(len(units) for units in self._reader.rows_of(Unit, "lot", sorted(lots)).values())
