"""What the page of a station asks: the lot at hand, the lots that are open, what may not be begun yet, what was said last.

Every question costs a few rows of that lot; none grows with the balls of the book.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import msgspec

from ledger.access.tokens import Account
from ledger.application.histories import HoldSeen, holds_over
from ledger.application.lot_account import LotAccount, known_lot_row, lot_account
from ledger.application.said_undone import undo_refusal
from ledger.book.instant import instant_ms
from ledger.errors import NotFound
from ledger.line.fold import earliest_of
from ledger.line.lots import left_of
from ledger.line.making_rows import Made
from ledger.line.makings import Making, makings_of
from ledger.line.process_plan import Stage, lot_clock, plan_at, plan_needs, window_breaches, window_of
from ledger.line.record import Record
from ledger.line.rows import Body, BreachRow, FactRow, Lot, LotStep, Model
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.station_lots import last_facts, names_of, newest_lot, open_lots

MOST_OPEN = 12
MOST_SAID = 8
MOST_RECORDS = 20
"""Records of one entry that are looked for when it is taken back; pages of stations say fewer at once."""

AFTER: dict[str, Stage] = {"block": "block-rest", "core": "core-rest", "shell": "final-cure"}
"""What a lot of a stage must have had before it is poured round, filled or turned."""


class StepDone(msgspec.Struct, frozen=True, kw_only=True):
    """A step done on the lot at hand; ``grit`` is not in the view and stands in the fact."""

    step: str
    began_ms: int
    ended_ms: int
    station: str | None


class AtHand(msgspec.Struct, frozen=True, kw_only=True):
    """The lot whose traveller was scanned."""

    lot: str
    stage: str
    account: LotAccount
    began_ms: int
    ended_ms: int
    closed: bool
    model: str | None
    model_name: str
    revision: int | None
    weight_class: int | None
    material: str | None
    expires_on: str | None
    makings: tuple[Making, ...]
    steps: tuple[StepDone, ...]
    holds: tuple[HoldSeen, ...]


class OpenLot(msgspec.Struct, frozen=True, kw_only=True):
    """A lot with something left. ``earliest_ms``: when what must rest or cure is over; None where nothing stands against it.

    ``reasons``: what its plan says against going on with it now, in words.
    """

    lot: str
    stage: str
    left: int
    model: str | None
    weight_class: int | None
    material: str | None
    ended_ms: int
    earliest_ms: int | None = None
    reasons: tuple[str, ...] = ()


class FactSaid(msgspec.Struct, frozen=True, kw_only=True):
    """One fact of an entry; ``record`` is its standing body, None for a withdrawn one."""

    fact: str
    kind: str
    at_ms: int
    standing: bool
    record: Record | None


class EntrySaid(msgspec.Struct, frozen=True, kw_only=True):
    """What was said at once about a lot. ``facts`` are all of its entry, in order; ``who`` None where the name was erased.

    ``why_not`` is the code and the words of what stands against taking it back, empty where this account may.
    """

    index: int
    who: str | None
    own: bool
    facts: tuple[FactSaid, ...]
    why_not: tuple[str, str] = ("", "")

    @property
    def may_undo(self) -> bool:
        """Whether the account that asked may take all of it back."""
        return not self.why_not[0]


def at_hand(reader: Reader, lot: str) -> AtHand:
    """The lot of a traveller. Raises NotFound."""
    row = known_lot_row(reader, lot)
    model = None if row.model is None else reader.one(Model, row.model)
    steps: list[LotStep] = sorted(reader.rows(LotStep, "lot", lot), key=lambda step: (step.ended_ms, step.address))
    return AtHand(
        lot=row.lot,
        stage=row.stage,
        account=lot_account(row),
        began_ms=row.began_ms,
        ended_ms=row.ended_ms,
        closed=row.closed,
        model=row.model,
        model_name="" if model is None else model.name,
        revision=row.revision,
        weight_class=row.weight_class,
        material=row.material,
        expires_on=row.expires_on,
        makings=tuple(makings_of(reader.rows(Made, "lot", lot))),
        steps=tuple(
            StepDone(step=step.step, began_ms=step.began_ms, ended_ms=step.ended_ms, station=step.station)
            for step in steps
            if step.station is not None
        ),
        holds=tuple(hold for hold in holds_over(reader, [f"lot:{lot}"], [row]) if hold.open),
    )


def lots_open(reader: Reader, stages: Sequence[str], now_ms: int, *, most: int = MOST_OPEN) -> tuple[OpenLot, ...]:
    """The newest lots of these stages that are open, and whether their plan lets them go on now."""
    return with_rests(reader, [row for stage in stages for row in open_lots(reader.transaction, stage, most)], now_ms)


def lots_named(reader: Reader, lots: Sequence[str], now_ms: int) -> tuple[OpenLot, ...]:
    """These lots, in the order named, and whether their plan lets them go on now; unknown ones are left out."""
    rows = {row.lot: row for row in rows_with(reader, Lot, "lot", lots)}
    return with_rests(reader, [rows[lot] for lot in dict.fromkeys(lots) if lot in rows], now_ms)


def with_rests(reader: Reader, rows: Sequence[Lot], now_ms: int) -> tuple[OpenLot, ...]:
    """Lots with what their rest or cure says of going on with them now: the windows that the writer checks."""
    state = reader.state_with(lambda _state: [need for row in rows for need in plan_needs(row.model)])
    found = []
    for row in rows:
        stage = AFTER.get(row.stage)
        breaches = [] if stage is None else window_breaches(
            plan_at(state, row.model, now_ms), stage, row.ended_ms, now_ms,
            node=f"lot:{row.lot}", what=row.lot, fact=row.address, clock_ms=lot_clock(row),
        )  # fmt: skip
        earliest = earliest_of(breaches)
        found.append(
            OpenLot(
                lot=row.lot,
                stage=row.stage,
                left=left_of(row),
                model=row.model,
                weight_class=row.weight_class,
                material=row.material,
                ended_ms=row.ended_ms,
                earliest_ms=None if earliest is None else instant_ms(earliest),
                reasons=tuple(breach.said for breach in breaches),
            )
        )
    return tuple(found)


def last_said(reader: Reader, node: str, account: Account, now_ms: int) -> tuple[EntrySaid, ...]:
    """The last entries about a node, the newest first, each with all that it said and whether ``account`` may take it back."""
    rows = last_facts(reader.transaction, node, MOST_SAID)
    return _entries(reader, list(dict.fromkeys(row.index for row in rows)), account, now_ms)


def entry_said(reader: Reader, index: int, account: Account, now_ms: int) -> EntrySaid:
    """One entry in the same way. Raises NotFound."""
    found = _entries(reader, [index], account, now_ms)
    if not found:
        raise NotFound("entry is not in the book", got=index, where="entry", mend="go back to the station's page")
    return found[0]


def _entries(reader: Reader, indexes: Sequence[int], account: Account, now_ms: int) -> tuple[EntrySaid, ...]:
    addresses = [f"{index}.{position}" for index in indexes for position in range(MOST_RECORDS)]
    all_rows: list[FactRow] = rows_with(reader, FactRow, "address", addresses)
    bodies = {
        body.address: body.fact.record for body in rows_with(reader, Body, "address", [r.address for r in all_rows])
    }
    names = names_of(reader.transaction, list({row.author for row in all_rows}))
    return tuple(
        _entry(reader, [row for row in all_rows if row.index == index], bodies, names, (account, now_ms))
        for index in indexes
        if any(row.index == index for row in all_rows)
    )


def entry_known(reader: Reader, index: str) -> str:
    """The index of an entry as an address says it, where the book has such an entry; else nothing."""
    is_index = index.isascii() and index.isdigit() and len(index) < 16
    return index if is_index and int(index) < reader.head().size else ""


def breaches_of_entry(reader: Reader, index: str) -> tuple[str, ...]:
    """What the book found wrong with what an entry said, in words; none for one that it does not have."""
    if not entry_known(reader, index):
        return ()
    addresses = [f"{int(index)}.{position}" for position in range(MOST_RECORDS)]
    return tuple(dict.fromkeys(row.said for row in rows_with(reader, BreachRow, "address", addresses)))


def next_lot_id(reader: Reader, stage: str, first: str) -> str:
    """A lot id that is not used yet: the number at the end of the newest lot's id counted on, or ``first``."""
    newest = newest_lot(reader.transaction, stage)
    counted = re.fullmatch(r"(.*?)([0-9]+)", first if newest is None else newest.lot)
    if counted is None:
        return first
    stem, digits = counted[1], counted[2]
    start = int(digits) + (newest is not None)
    tried = [name for n in range(start, start + 20) if len(name := f"{stem}{n:0{len(digits)}d}") <= 40]
    taken = {row.lot for row in rows_with(reader, Lot, "lot", tried)}
    return next((name for name in tried if name not in taken), "")


def demould_s(reader: Reader, model: str, stage: str, now_ms: int) -> int | None:
    """How long a piece of a stage must stay in its mould, by the model's plan in force now; None where it sets nothing."""
    if stage not in AFTER:
        return None
    state = reader.state_with(lambda _state: plan_needs(model))
    window = window_of(plan_at(state, model, now_ms), f"{stage}-demould")  # type: ignore[arg-type]  # one for each stage
    return None if window is None else window.min_s


def last_making(reader: Reader, stage: str) -> Making | None:
    """The line, mould set and mixer of the newest lot of a stage, as it was poured last."""
    newest = newest_lot(reader.transaction, stage)
    makings = [] if newest is None else makings_of(reader.rows(Made, "lot", newest.lot))
    return makings[-1] if makings else None


def _entry(
    reader: Reader,
    rows: Sequence[FactRow],
    bodies: dict[str, Record],
    names: dict[str, str | None],
    asked: tuple[Account, int],
) -> EntrySaid:
    ordered = sorted(rows, key=lambda row: row.position)
    standing = [row.address for row in ordered if row.standing]
    why_not = ("withdrawn", "")
    if standing:
        account, now_ms = asked
        refusal = None if "quality" in account.roles else undo_refusal(reader, standing, account, now_ms)
        why_not = ("", "") if refusal is None else (refusal.code, refusal.problem)
    return EntrySaid(
        index=ordered[0].index,
        who=names.get(ordered[0].author),
        own=ordered[0].author == asked[0].account,
        facts=tuple(
            FactSaid(
                fact=row.address,
                kind=row.kind,
                at_ms=row.at_ms,
                standing=row.standing,
                record=bodies.get(row.address),
            )
            for row in ordered
        ),
        why_not=why_not,
    )
