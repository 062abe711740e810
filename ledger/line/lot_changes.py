"""What happens to a lot after it was made: worked, changed in mid-lot, split, merged, lost from, recounted, closed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.book.instant import instant_ms
from ledger.book.merkle import leaf_hash, root
from ledger.errors import Contradiction, MalformedRecord, RuleStands
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import hold_breaches, lineage_needs, stopping_holds
from ledger.line.lots import (
    Draw,
    clock_error_ms,
    enter_draws,
    fresh_lot,
    known_lot,
    left_of,
    refuse_shortage,
)
from ledger.line.makings import enter_made
from ledger.line.process_plan import lot_clock, plan_at, plan_needs, window_breaches
from ledger.line.record import At, Count, Digest, Id, Part, Pieces, Record, Slug
from ledger.line.rows import Lot, LotStep, Unit
from ledger.line.state import Need, State

Step = Literal[
    "cleaned", "rested", "trimmed", "tumbled", "hole-drilled", "pin-filled", "turned", "sanded", "polished", "finished"
]
FINISHES = frozenset({"sanded", "polished"})
"""Steps that say how a surface is finished."""

CURED_STEPS = frozenset({"pin-filled", "turned"})
"""Steps that the final cure of a shell must come before."""


class LotWorked(Record, frozen=True, kw_only=True, tag="lot-worked"):
    """A step done on a whole lot. ``grit`` names the last abrasive of a finishing step."""

    lot: Id
    step: Step
    began_at: At
    station: Id
    grit: Annotated[int, Meta(ge=40, le=10_000)] | UnsetType = UNSET


class LotChanged(Record, frozen=True, kw_only=True, tag="lot-changed"):
    """Something changed in mid-lot, at a count: another line, mould set, mixer or operator shift."""

    lot: Id
    count: Count
    what: Literal["line", "mould-set", "mixer", "shift", "setting"]
    to: Id


class LotSplit(Record, frozen=True, kw_only=True, tag="lot-split"):
    """Pieces of a lot go on as a lot of their own."""

    lot: Id
    into: Id
    count: Pieces


class PartOfLot(Part, frozen=True, kw_only=True):
    """Pieces of a lot that go into another."""

    lot: Id
    count: Pieces


class LotsMerged(Record, frozen=True, kw_only=True, tag="lots-merged"):
    """The rest of several lots of one stage goes on as one lot: from then on a piece descends from one or another."""

    lots: Annotated[tuple[PartOfLot, ...], Meta(min_length=2, max_length=20)]
    into: Id


class PiecesLost(Record, frozen=True, kw_only=True, tag="pieces-lost"):
    """Pieces left the lot for good: scrap, a destructive test, or retained samples."""

    lot: Id
    count: Pieces
    how: Literal["scrap", "destructive-test", "retained", "other"]
    reason: Slug


class LotRecounted(Record, frozen=True, kw_only=True, tag="lot-recounted"):
    """The lot was counted again: ``left`` is what is there now (pieces, or grams of a material or batch)."""

    lot: Id
    left: Annotated[int, Meta(ge=0, le=1_000_000_000)]
    reason: Slug


class LotClosed(Record, frozen=True, kw_only=True, tag="lot-closed"):
    """No ball is added any more: how many were made of it, and the Merkle root over them (see `balls_root`)."""

    lot: Id
    count: Count
    balls_root: Digest


def balls_root(units: Iterable[tuple[str, str | None]]) -> str:
    """RFC 9162 root, 64 hex digits, over the canonical bytes of ``[unit, serial]`` of each ball, by unit id.

    A ball without serial stands as ``[unit]``.
    """
    leaves = [encode([unit] if serial is None else [unit, serial]) for unit, serial in sorted(units)]
    return root([leaf_hash(leaf) for leaf in leaves]).hex()


def _lot_needs(record: LotWorked | PiecesLost | LotRecounted | LotChanged, state: State) -> Iterator[Need]:
    yield from lineage_needs([record.lot], state)
    lot = state.one(Lot, record.lot) if state.has(Need(Lot, "lot", record.lot)) else None
    if lot is not None:
        yield from plan_needs(lot.model)


def _worked_check(record: LotWorked, state: State, setting: Setting) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot", stages=("block", "core", "shell"))
    began = instant_ms(record.began_at)
    if instant_ms(record.at) < began:
        raise MalformedRecord(
            "ended before it began",
            expected=f"at or after {record.began_at}",
            got=record.at,
            where="at",
            mend="swap them",
        )
    node = f"lot:{record.lot}"
    holds = stopping_holds(state, "work", lot=record.lot)
    breaches = hold_breaches(holds, node=node, what=f"{record.step} done")
    breaches += early_breaches(lot, began, node=node, what=f"{record.lot} {record.step}")
    return breaches + worked_windows(record, state, lot, setting.taken_ms)


def early_breaches(lot: Lot, at_ms: int, *, node: str, what: str) -> list[Breach]:
    """The breach of a step that is said to have begun before its lot was made."""
    if at_ms >= lot.ended_ms:
        return []
    said = f"{what} before {lot.lot} was made"
    return [Breach(code="before-parent", node=node, said=said, fact=lot.address, mend="correct the instants")]


def worked_windows(record: LotWorked, state: State, lot: Lot, taken_ms: int | None) -> list[Breach]:
    """The final cure that a shell must have had before its pin is filled or it is turned."""
    if lot.stage != "shell" or record.step not in CURED_STEPS:
        return []
    clock = clock_error_ms(record, taken_ms)
    return final_cure(state, lot, record.began_at, what=f"{record.lot} {record.step}", clock_ms=clock)


def final_cure(state: State, lot: Lot, began_at: str, *, what: str, clock_ms: int) -> list[Breach]:
    """Breaches of a shell lot's final cure, from demoulding to the step that began at ``began_at``."""
    began = instant_ms(began_at)
    return window_breaches(
        plan_at(state, lot.model, began),
        "final-cure",
        lot.ended_ms,
        began,
        node=f"lot:{lot.lot}",
        what=what,
        fact=lot.address,
        clock_ms=clock_ms + lot_clock(lot),
    )


def _worked_recheck(fact: Fact, state: State) -> list[Breach]:
    record: LotWorked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    lot = state.one(Lot, record.lot)
    return [] if lot is None else worked_windows(record, state, lot, fact.taken_ms)


def _worked_effects(fact: Fact, state: State) -> None:
    record: LotWorked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        LotStep(
            lot_step=fact.address,
            lot=record.lot,
            step=record.step,
            began_ms=instant_ms(record.began_at),
            ended_ms=fact.at_ms,
            address=fact.address,
            station=record.station,
        )
    )
    lot = state.held(Lot, record.lot)
    if lot is not None and record.step in FINISHES and fact.at_ms >= (lot.finish_ms or 0):
        state.put(msgspec.structs.replace(lot, finish=record.step, finish_ms=fact.at_ms))


def _known_check(record: LotChanged | PiecesLost | LotRecounted, state: State, _setting: Setting) -> list[Breach]:
    known_lot(state, record.lot, where="lot")
    return []


def _changed_effects(fact: Fact, state: State) -> None:
    record: LotChanged = fact.record  # type: ignore[assignment]  # the kind table pairs them
    step = f"changed {record.what} to {record.to} at {record.count}"
    state.put(
        LotStep(
            lot_step=fact.address,
            lot=record.lot,
            step=step,
            began_ms=fact.at_ms,
            ended_ms=fact.at_ms,
            address=fact.address,
        )
    )
    column = {"line": "line", "mould-set": "mould_set", "mixer": "mixer"}.get(record.what)
    if column is not None:
        enter_made(fact, state, record.lot, after=record.count, from_ms=fact.at_ms, **{column: record.to})


def _split_needs(record: LotSplit, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.into)
    yield from lineage_needs([record.lot], state)


def _split_check(record: LotSplit, state: State, _setting: Setting) -> list[Breach]:
    fresh_lot(state, record.into)
    lot = known_lot(state, record.lot, where="lot", stages=("block", "core", "shell"))
    refuse_shortage(lot, record.count, where="count")
    return []


def _split_effects(fact: Fact, state: State) -> None:
    record: LotSplit = fact.record  # type: ignore[assignment]  # the kind table pairs them
    enter_heir(fact, state, record.into, [(record.lot, record.count)], "split")


def enter_heir(fact: Fact, state: State, into: str, parts: list[tuple[str, int]], part: str) -> None:
    """Enter a lot that goes on from others of one stage: it takes over model and class, and the latest of their instants.

    Reads the parents' rows: a correction therefore folds a lot together with its heirs and what it is heir to.
    """
    parents = [lot for name, _ in parts if (lot := state.held(Lot, name)) is not None]
    if not parents:
        return
    first, latest = parents[0], max(parents, key=lambda lot: lot.ended_ms)
    heir = msgspec.structs.replace(
        latest,
        lot=into,
        began_ms=min(lot.began_ms for lot in parents),
        made=sum(count for _, count in parts),
        rejects=0,
        adjusted=0,
        used=0,
        lost=0,
        closed=False,
        model=first.model,
        finish=latest.finish if len({lot.finish for lot in parents}) == 1 else None,
        finish_ms=None,
        clock_ms=max(lot.clock_ms for lot in parents),
        address=fact.address,
    )
    state.put(heir)
    enter_draws(fact, state, into, [Draw(lot, count, part) for lot, count in parts])


def _merged_needs(record: LotsMerged, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.into)
    yield from lineage_needs([part.lot for part in record.lots], state)


def _merged_check(record: LotsMerged, state: State, _setting: Setting) -> list[Breach]:
    fresh_lot(state, record.into)
    lots = [known_lot(state, part.lot, where=f"lots[{place}].lot") for place, part in enumerate(record.lots)]
    for place, (lot, part) in enumerate(zip(lots, record.lots, strict=True)):
        if _kind(lot) != _kind(lots[0]):
            raise Contradiction(
                "lots of unlike stage, model or revision cannot become one",
                expected=_kind(lots[0]),
                got=_kind(lot),
                where=f"lots[{place}].lot",
                mend="merge lots of one stage, model and revision",
            )
        if lot in lots[:place]:
            raise Contradiction(
                f"lot {part.lot} is named twice",
                where=f"lots[{place}].lot",
                mend="name each lot once, with all its pieces",
            )
        refuse_shortage(lot, part.count, where=f"lots[{place}].count")
    return []


def _kind(lot: Lot) -> str:
    """What lots must have in common to become one: an heir has one model and one revision, and is approved by them."""
    revision = "" if lot.revision is None else f", revision {lot.revision}"
    return f"{lot.stage} of {lot.model}{revision}"


def _merged_effects(fact: Fact, state: State) -> None:
    record: LotsMerged = fact.record  # type: ignore[assignment]  # the kind table pairs them
    enter_heir(fact, state, record.into, [(part.lot, part.count) for part in record.lots], "merge")


def _lost_check(record: PiecesLost, state: State, _setting: Setting) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot")
    if record.count > left_of(lot):
        said = f"{record.count} lost from {record.lot}, {left_of(lot)} were left"
        return [Breach(code="over-drawn", node=f"lot:{lot.lot}", said=said, fact=lot.address, mend="recount the lot")]
    return []


def _lost_effects(fact: Fact, state: State) -> None:
    record: PiecesLost = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.add(Lot, record.lot, lost=record.count)


def _recounted_effects(fact: Fact, state: State) -> None:
    record: LotRecounted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    lot = state.held(Lot, record.lot)
    if lot is not None:
        state.add(Lot, record.lot, adjusted=record.left - left_of(lot))


def _closed_needs(record: LotClosed, _state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.lot)
    yield Need(Unit, "lot", record.lot)


def _closed_check(record: LotClosed, state: State, _setting: Setting) -> list[Breach]:
    known_lot(state, record.lot, where="lot", stages=("shell",))
    units = state.where(Unit, "lot", record.lot)
    actual = balls_root((unit.unit, unit.serial) for unit in units)
    if record.count != len(units) or record.balls_root != actual:
        raise RuleStands(
            f"lot {record.lot} has other balls than stated",
            expected=f"{len(units)} balls with root {actual}",
            got=f"{record.count} with root {record.balls_root}",
            where="balls_root",
            mend="look the lot's balls up again and close it with their count and root",
        )
    return []


def _closed_effects(fact: Fact, state: State) -> None:
    record: LotClosed = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Lot, record.lot, closed=True)


def _of_lot(record: LotWorked | LotChanged | PiecesLost | LotRecounted | LotClosed) -> list[str]:
    return [f"lot:{record.lot}"]


KINDS = (
    Kind(LotWorked, "report", _lot_needs, _worked_check, _worked_effects, _of_lot, _worked_recheck),
    Kind(LotChanged, "report", _lot_needs, _known_check, _changed_effects, _of_lot),
    Kind(
        LotSplit,
        "decision",
        _split_needs,
        _split_check,
        _split_effects,
        lambda record: [f"lot:{record.into}", f"lot:{record.lot}"],
    ),
    Kind(
        LotsMerged,
        "decision",
        _merged_needs,
        _merged_check,
        _merged_effects,
        lambda record: [f"lot:{record.into}", *(f"lot:{part.lot}" for part in record.lots)],
    ),
    Kind(PiecesLost, "report", _lot_needs, _lost_check, _lost_effects, _of_lot),
    Kind(LotRecounted, "report", _lot_needs, _known_check, _recounted_effects, _of_lot),
    Kind(LotClosed, "decision", _closed_needs, _closed_check, _closed_effects, _of_lot),
)
