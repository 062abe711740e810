"""A warranty question about a number, or about a claim: what the views know of each ball that it may be, put before
`ledger.warranty`.

Set queries: the cost goes with the ball's lots, the balls below them and their claims, not with the book.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import msgspec

from ledger.application.ball_cases import case_remarks
from ledger.application.ball_view import selected_ball
from ledger.application.claim_days import opened_on
from ledger.application.cure_times import CureTime, cure_times
from ledger.application.families import Families
from ledger.application.histories import RuleHolds
from ledger.application.imported_sources import imported_sources, source_words
from ledger.application.linked_claims import came_as_replacement, claims_on_ball, shipped_on
from ledger.application.numbers import serial_rows, typed_serial
from ledger.application.sisters import SISTER_STAGES, sister_claims
from ledger.application.terms_in_force import parse_day
from ledger.conformity.from_rows import day_of
from ledger.errors import NotFound
from ledger.line.claim_rows import Claim, FailureMode
from ledger.line.claim_steps import evidence_of
from ledger.line.claims import ClaimDecided
from ledger.line.failure_modes import TRADE_MODES
from ledger.line.holds import is_breach_hold
from ledger.line.rows import (
    About,
    Allotment,
    BreachRow,
    Concession,
    FactRow,
    Hold,
    Lot,
    Model,
    SerialRow,
    Unit,
)
from ledger.store.adopted_terms import terms_in_force
from ledger.store.reader import Reader
from ledger.store.selections import Selected, StoredEdges, rows_with
from ledger.tracing.back import Trace, trace_back
from ledger.warranty.answer import Question, WarrantyAnswer, answer_question
from ledger.warranty.ball_record import BallRecord, Cure, LotRecord, Remark, RemarkSort
from ledger.warranty.proposal import Proposal, propose


class Asked(NamedTuple):
    """A question about a number as typed, and what is known of the purchase and the fault. Dates as YYYY-MM-DD."""

    serial: str
    bought_on: str | None = None
    on: str | None = None
    market: str = ""
    mode: str | None = None


class ClaimAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one claim, as of the day on which it was opened, and what the facts speak for."""

    claim: str
    state: str
    mode: str
    mode_words: str
    opened_on: dt.date
    answer: WarrantyAnswer
    proposal: Proposal


def warranty_answer(reader: Reader, asked: Asked, now_ms: int) -> WarrantyAnswer:
    """The answer about a number as typed. Raises MalformedRecord for a date that is none."""
    text = typed_serial(asked.serial)
    question = Question(
        serial=text,
        on=day_of(now_ms) if asked.on is None else parse_day(asked.on, "on"),
        bought_on=None if asked.bought_on is None else parse_day(asked.bought_on, "bought_on"),
        market=asked.market,
        mode=asked.mode,
    )
    units = list(dict.fromkeys(row.unit for row in serial_rows(reader, asked.serial)))
    return _answer(reader, question, units)


def claim_answer(reader: Reader, claim: str) -> ClaimAnswer:
    """The answer for a claim, with a proposal. Raises NotFound."""
    row = known_claim(reader, claim)
    units = [row.unit] if row.unit is not None else _bearers(reader, row)
    serial = row.serial
    if serial is None and row.unit is not None:
        bearer = reader.one(Unit, row.unit)
        serial = None if bearer is None else bearer.serial
    question = Question(
        serial=serial or "",
        on=opened_on(row),
        bought_on=None if row.bought_on is None else dt.date.fromisoformat(row.bought_on),
        market=row.market or "",
        mode=row.mode,
    )
    answer = _answer(reader, question, units, row)
    return ClaimAnswer(
        claim=row.claim,
        state=row.state,
        mode=row.mode,
        mode_words=mode_words(reader, row.mode),
        opened_on=question.on,
        answer=answer,
        proposal=propose(answer, evidence_there(reader, row)),
    )


def known_claim(reader: Reader, claim: str) -> Claim:
    """The claim of this id. Raises NotFound."""
    row = reader.one(Claim, claim)
    if row is None:
        raise NotFound(f"claim {claim} is not in the book", where="claim", mend="GET /claims lists those that are")
    return row


def mode_words(reader: Reader, mode: str) -> str:
    """A failure mode as people read it."""
    own = None if mode in TRADE_MODES else reader.one(FailureMode, mode)
    return TRADE_MODES.get(mode, mode if own is None else own.words)


def evidence_there(reader: Reader, claim: Claim) -> frozenset[str]:
    """The kinds of evidence that the book holds for a decision on a claim, before any fact is named."""
    at = f"{day_of(claim.opened_ms)}T00:00:00.000+00:00"
    decided = ClaimDecided(at=at, claim=claim.claim, decision="accept", reason="in-term")
    return evidence_of(claim, decided, reader.state_for([decided]))


def _bearers(reader: Reader, claim: Claim) -> list[str]:
    rows = serial_rows(reader, claim.serial) if claim.serial is not None else []
    return list(dict.fromkeys(row.unit for row in rows))


def _answer(reader: Reader, question: Question, units: list[str], claim: Claim | None = None) -> WarrantyAnswer:
    families = Families(reader)
    balls = [_ball_record(reader, unit, families, question, claim) for unit in units]
    issued = reader.one(Allotment, question.serial) is not None
    return answer_question(question, balls, terms_in_force(reader, question.on), issued=issued)


def _ball_record(reader: Reader, name: str, families: Families, question: Question, claim: Claim | None) -> BallRecord:
    one = selected_ball(reader, name)
    unit, lot = one.unit, one.lot
    model = None if lot.model is None else reader.one(Model, lot.model)
    trace = trace_back(StoredEdges(reader), lot.lot, unit.place)
    lots: dict[str, Lot] = {
        row.lot: row for row in rows_with(reader, Lot, "lot", [lot.lot, *(above.lot for above in trace.ancestors)])
    }
    remarks = _remarks(reader, one, lots)
    replaced, by_claim = came_as_replacement(reader, name)
    sources = imported_sources(reader, [name])
    return BallRecord(
        unit=unit.unit,
        serial=unit.serial,
        model=lot.model or "",
        model_name="" if model is None else model.name,
        made_on=day_of(unit.engraved_ms or unit.began_ms),
        shipped_on=shipped_on(reader, name),
        weight_class=unit.weight_class,
        state=unit.state,
        grade=unit.grade,
        made_before=source_words(sources[name]) if name in sources else "",
        facts=tuple(row.serial_row for row in reader.rows(SerialRow, "unit", name)),
        remarks=tuple(remarks.get(f"unit:{name}", ())),
        figures=families.readings(one),
        lots=_lot_records(reader, unit, lots, trace, (remarks, families, claim)),
        claims=(
            *claims_on_ball(reader, name, claim, question.mode),
            *(() if by_claim is None else (by_claim,)),
        ),
        replaced=replaced,
    )


def _lot_records(
    reader: Reader,
    unit: Unit,
    rows: dict[str, Lot],
    trace: Trace,
    known: tuple[dict[str, list[Remark]], Families, Claim | None],
) -> tuple[LotRecord, ...]:
    remarks, families, claim = known
    edges = StoredEdges(reader).parents(list(rows))
    times = cure_times(reader, unit, list(rows.values()), edges, set(rows))
    figures = families.cures(times, rows, edges)
    shared = [name for name, row in rows.items() if row.stage in SISTER_STAGES]
    sisters = sister_claims(reader, unit, shared, but=None if claim is None else claim.claim)
    named = [(unit.lot, "certain"), *((above.lot, above.certainty) for above in trace.ancestors)]
    return tuple(
        LotRecord(
            lot=name,
            stage=rows[name].stage,
            certainty="certain" if certainty == "certain" else "possible",
            remarks=tuple(remarks.get(f"lot:{name}", ())),
            cures=tuple(_cure(time, rows[name]) for time in times if time.lot == name and time.least_s is not None),
            figures=tuple(figures.get(name, ())),
            sisters=sisters.get(name),
        )
        for name, certainty in named
        if name in rows
    )


def _cure(time: CureTime, lot: Lot) -> Cure:
    return Cure(
        stage=time.stage, lasted_s=time.elapsed_s, min_s=time.least_s or 0, max_s=time.most_s, facts=(lot.address,)
    )


def _remarks(reader: Reader, one: Selected, lots: dict[str, Lot]) -> dict[str, list[Remark]]:
    """What is on record of a ball and its lots, by node; a hold by rule is told of the ball."""
    unit = one.unit
    nodes = [f"unit:{unit.unit}", *(f"lot:{name}" for name in lots)]
    found: dict[str, list[Remark]] = {}
    for breach in rows_with(reader, BreachRow, "node", nodes):
        found.setdefault(breach.node, []).append(Remark(sort="breach", said=breach.said, facts=(breach.address,)))
    by_rule = RuleHolds(reader).over(list(lots.values()), unit)
    for hold in [*rows_with(reader, Hold, "node", nodes), *by_rule]:
        # A breach's own hold says nothing that the breach does not.
        if not is_breach_hold(hold.hold):
            node = hold.node if hold.rule is None else nodes[0]
            sort: RemarkSort = "hold open" if hold.open else "hold lifted"
            facts = tuple(about.address for about in reader.rows(About, "node", f"hold:{hold.hold}"))
            found.setdefault(node, []).append(Remark(sort=sort, said=f"{hold.hold}, {hold.reason}", facts=facts))
    for concession in rows_with(reader, Concession, "node", nodes):
        remark = Remark(sort="concession", said=f"on {concession.holds}", facts=(concession.concession,))
        found.setdefault(concession.node, []).append(remark)
    _add_times(reader, nodes[0], found)
    for node, cases in case_remarks(reader, one).items():
        found.setdefault(node, []).extend(cases)
    return found


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
