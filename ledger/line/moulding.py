"""The three poured stages, each into its own lot: weight blocks, cores round blocks, shells round cores.

One lot of blocks is moulded from a batch; cores are blocks overmoulded with core compound; shells are cores overmoulded
with one to n urethane colours.  ``at`` is the instant of demoulding, ``began_at`` that of the pour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, NamedTuple

from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import MalformedRecord
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import hold_breaches, lineage_needs, stopping_holds
from ledger.line.lots import Draw, clock_error_ms, draw_breaches, enter_draws, enter_lot, fresh_lot, grams, known_lot
from ledger.line.makings import enter_made
from ledger.line.materials import MaterialDraw, expiry_breaches
from ledger.line.models import known_model, model_needs
from ledger.line.process_plan import Stage, lot_clock, plan_at, plan_needs, window_breaches
from ledger.line.record import At, Count, Id, Name, Part, Pieces, Record, SealedKg
from ledger.line.rows import Lot
from ledger.line.state import Need, State

WeightClass = Annotated[int, Meta(ge=4, le=16, description="nominal pound class")]


class PieceDraw(Part, frozen=True, kw_only=True):
    """Pieces of one parent lot; ``first`` and ``last`` are the child's positions that hold them, where recorded."""

    lot: Id
    count: Pieces
    first: Pieces | UnsetType = UNSET
    last: Pieces | UnsetType = UNSET


class ColourDraw(Part, frozen=True, kw_only=True):
    """One colour of a shell and the urethane batch poured for it."""

    colour: Name
    lot: Id
    kg: SealedKg


class Pour(Record, frozen=True, kw_only=True):
    """What every pour says: its lot, model, line, mould set, mixer, good pieces and rejects."""

    lot: Id
    model: Id
    line: Id
    mould_set: Id
    mixer: Id
    began_at: At
    count: Pieces
    rejects: Count = 0


class BlocksMoulded(Pour, frozen=True, kw_only=True, tag="blocks-moulded"):
    """Weight blocks moulded from one batch (or, after a change in mid-lot, from several)."""

    batches: Annotated[tuple[MaterialDraw, ...], Meta(min_length=1, max_length=20)]


class CoresPoured(Pour, frozen=True, kw_only=True, tag="cores-poured"):
    """Blocks overmoulded with core compound."""

    blocks: Annotated[tuple[PieceDraw, ...], Meta(min_length=1, max_length=50)]
    batches: Annotated[tuple[MaterialDraw, ...], Meta(min_length=1, max_length=20)]


class ShellsPoured(Pour, frozen=True, kw_only=True, tag="shells-poured"):
    """Cores overmoulded with one to n urethane colours."""

    revision: Annotated[int, Meta(ge=1, le=10_000)]
    weight_class: WeightClass
    cores: Annotated[tuple[PieceDraw, ...], Meta(min_length=1, max_length=50)]
    colours: Annotated[tuple[ColourDraw, ...], Meta(min_length=1, max_length=12)]


class _Stage(NamedTuple):
    """What one poured stage takes in and which windows it must keep."""

    stage: str
    demould: Stage
    rest: Stage | None
    piece_stage: str


BLOCK = _Stage("block", "block-demould", None, "")
CORE = _Stage("core", "core-demould", "block-rest", "block")
SHELL = _Stage("shell", "shell-demould", "core-rest", "core")


def _stage(record: Pour) -> _Stage:
    return {BlocksMoulded: BLOCK, CoresPoured: CORE, ShellsPoured: SHELL}[type(record)]


def _pieces(record: Pour) -> tuple[PieceDraw, ...]:
    return (
        record.blocks if isinstance(record, CoresPoured) else record.cores if isinstance(record, ShellsPoured) else ()
    )


def _compounds(record: Pour) -> tuple[str, list[str]]:
    if isinstance(record, ShellsPoured):
        return "colours", [colour.lot for colour in record.colours]
    return "batches", [batch.lot for batch in record.batches] if isinstance(record, BlocksMoulded | CoresPoured) else []


def pour_draws(record: Pour) -> list[Draw]:
    """Everything a pour takes. Several lots in one part are alternatives: a piece holds one or another of them."""
    part = _stage(record).piece_stage
    draws = [
        Draw(
            piece.lot,
            piece.count,
            part,
            first=None if piece.first is UNSET else piece.first,
            last=None if piece.last is UNSET else piece.last,
        )
        for piece in _pieces(record)
    ]
    if isinstance(record, ShellsPoured):
        return draws + [Draw(colour.lot, grams(colour.kg), f"colour:{colour.colour}") for colour in record.colours]
    if isinstance(record, BlocksMoulded | CoresPoured):
        return draws + [Draw(batch.lot, grams(batch.kg), "compound") for batch in record.batches]
    return draws


def _needs(record: Pour, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.lot)
    yield from model_needs(record.model)
    yield from plan_needs(record.model)
    yield from lineage_needs([draw.parent for draw in pour_draws(record)], state)


def _check(record: Pour, state: State, setting: Setting) -> list[Breach]:
    stage = _stage(record)
    fresh_lot(state, record.lot)
    known_model(state, record.model, where="model")
    _check_order(record)
    node = f"lot:{record.lot}"
    breaches: list[Breach] = []
    for place, piece in enumerate(_pieces(record)):
        known_lot(state, piece.lot, where=f"{stage.piece_stage}s[{place}].lot", stages=(stage.piece_stage,))
    field, compounds = _compounds(record)
    for place, compound in enumerate(compounds):
        lot = known_lot(state, compound, where=f"{field}[{place}].lot", stages=("batch", "material"))
        breaches += expiry_breaches(lot, record.began_at, node=node, what="poured")
    for draw in pour_draws(record):
        holds = stopping_holds(state, "use", lot=draw.parent)
        breaches += hold_breaches(holds, node=node, what=f"{draw.parent} was used in {record.lot}")
    breaches += _check_pieces(record, state)
    breaches += draw_breaches(state, pour_draws(record), child=record.lot, at_ms=instant_ms(record.began_at))
    return breaches + pour_windows(record, state, setting.taken_ms)


def _check_order(record: Pour) -> None:
    if instant_ms(record.at) < instant_ms(record.began_at):
        raise MalformedRecord(
            "demoulded before it was poured",
            expected=f"at or after {record.began_at}",
            got=record.at,
            where="at",
            mend="swap or correct the two instants",
        )
    drawn = sum(piece.count for piece in _pieces(record))
    for place, piece in enumerate(_pieces(record)):
        if (piece.first is UNSET) != (piece.last is UNSET):
            raise MalformedRecord(
                "a range of positions has two ends",
                expected="first and last",
                where=f"{_stage(record).piece_stage}s[{place}]",
                mend="send both first and last, or neither",
            )
        if piece.first is not UNSET and piece.last is not UNSET and not piece.first <= piece.last <= drawn:
            raise MalformedRecord(
                "positions outside the lot",
                expected=f"1 <= first <= last <= {drawn}",
                got=f"{piece.first}..{piece.last}",
                where=f"{_stage(record).piece_stage}s[{place}]",
                mend="correct the positions",
            )


def _check_pieces(record: Pour, state: State) -> list[Breach]:
    drawn = sum(piece.count for piece in _pieces(record))
    node = f"lot:{record.lot}"
    breaches = []
    if _pieces(record) and drawn != record.count + record.rejects:
        said = f"{drawn} pieces went in, {record.count} good and {record.rejects} rejects came out"
        breaches.append(
            Breach(code="count-differs", node=node, said=said, mend="recount the lot or correct the record")
        )
    for piece in _pieces(record):
        lot = state.one(Lot, piece.lot)
        if lot is not None and lot.model is not None and lot.model != record.model:
            said = f"{piece.lot} was made for {lot.model} and poured into {record.model}"
            breaches.append(
                Breach(code="other-model", node=node, said=said, fact=lot.address, mend="dispose of the lot")
            )
    return breaches


def pour_windows(record: Pour, state: State, taken_ms: int | None) -> list[Breach]:
    """The windows that this pour had to keep: its own demoulding, and the rest of each parent before it."""
    stage, node = _stage(record), f"lot:{record.lot}"
    began, clock = instant_ms(record.began_at), clock_error_ms(record, taken_ms)
    plan = plan_at(state, record.model, began)
    # Pour and demoulding were read off one clock: its error is in both, and not in what lies between.
    breaches = window_breaches(plan, stage.demould, began, instant_ms(record.at), node=node, what=record.lot, fact="")
    for piece in _pieces(record):
        lot = state.one(Lot, piece.lot)
        if lot is None or stage.rest is None:
            continue
        breaches += window_breaches(
            plan,
            stage.rest,
            lot.ended_ms,
            began,
            node=node,
            what=f"{piece.lot} before {record.lot}",
            fact=lot.address,
            clock_ms=clock + lot_clock(lot),
        )
    return breaches


def _effects(fact: Fact, state: State) -> None:
    record: Pour = fact.record  # type: ignore[assignment]  # the kind table pairs them
    shell = record if isinstance(record, ShellsPoured) else None
    enter_lot(
        fact,
        state,
        lot=record.lot,
        stage=_stage(record).stage,
        made=record.count,
        rejects=record.rejects,
        began=record.began_at,
        model=record.model,
        revision=None if shell is None else shell.revision,
        weight_class=None if shell is None else shell.weight_class,
    )
    enter_made(
        fact,
        state,
        record.lot,
        from_ms=instant_ms(record.began_at),
        line=record.line,
        mould_set=record.mould_set,
        mixer=record.mixer,
    )
    enter_draws(fact, state, record.lot, pour_draws(record))


def _about(record: Pour) -> Iterable[str]:
    return [f"lot:{record.lot}", *(f"lot:{draw.parent}" for draw in pour_draws(record))]


def _recheck(fact: Fact, state: State) -> list[Breach]:
    return pour_windows(fact.record, state, fact.taken_ms)  # type: ignore[arg-type]  # the kind table pairs them


KINDS = tuple(
    Kind(record, "report", _needs, _check, _effects, _about, _recheck)
    for record in (BlocksMoulded, CoresPoured, ShellsPoured)
)
