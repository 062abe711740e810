"""The history of a node: every fact about it, withdrawn ones too, with what was wrong and where its body stands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.line.lineage import ANY, fits_any
from ledger.line.refold import ONCE
from ledger.line.rows import About, BreachRow, FactRow, Hold, Lot, Unit
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class Told(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One fact in a history. ``corrected_by`` is the address of the correction that it stands or fell by.

    ``standing`` is false for a withdrawn fact; ``moved`` is true for one that a correction made a fact about others.
    """

    fact: str
    kind: str
    at: str
    recorded_at: str
    author: str
    late: bool = False
    doubtful: bool = False
    standing: bool = True
    moved: bool = False
    corrected_by: str = ""
    breaches: tuple[str, ...] = ()


class HoldSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A hold as a person sees it."""

    hold: str
    node: str
    stops: str
    reason: str
    opened_at: str
    open: bool
    recall: bool = False
    rule: str = ""


def instant_text(ms: int) -> str:
    """An instant of a view as text, in UTC."""
    return format_instant(Instant(ms, 0))


def history_of(reader: Reader, nodes: list[str]) -> tuple[Told, ...]:
    """Every fact that is or once was about the nodes, in order of entry; ``moved``: corrected to be about others now."""
    about: list[About] = rows_with(reader, About, "node", [*nodes, *(f"{ONCE}{node}" for node in nodes)])
    addresses = {one.address for one in about}
    stays = {one.address for one in about if not one.node.startswith(ONCE)}
    rows: list[FactRow] = sorted(
        rows_with(reader, FactRow, "address", addresses), key=lambda row: (row.index, row.position)
    )
    said: dict[str, list[str]] = {}
    for breach in rows_with(reader, BreachRow, "address", addresses):
        said.setdefault(breach.address, []).append(f"{breach.code}: {breach.said}")
    return tuple(
        _told(row, tuple(said.get(row.address, ())), moved=row.standing and row.address not in stays) for row in rows
    )


def _told(row: FactRow, breaches: tuple[str, ...], *, moved: bool) -> Told:
    return Told(
        fact=row.address,
        kind=row.kind,
        at=instant_text(row.at_ms),
        recorded_at=instant_text(row.recorded_ms),
        author=row.author,
        late=row.late,
        doubtful=row.doubtful,
        standing=row.standing,
        moved=moved,
        corrected_by=row.body.rpartition(".")[0],
        breaches=breaches,
    )


def holds_on(reader: Reader, nodes: list[str], *, open_only: bool = False) -> tuple[HoldSeen, ...]:
    """The holds on these nodes, oldest first."""
    return _seen(row for row in rows_with(reader, Hold, "node", nodes) if row.open or not open_only)


def holds_over(reader: Reader, nodes: list[str], lots: Sequence[Lot], unit: Unit | None = None) -> tuple[HoldSeen, ...]:
    """The holds on these nodes, and those by rule that take in one of the lots (or the ball), oldest first."""
    return _seen([*rows_with(reader, Hold, "node", nodes), *RuleHolds(reader).over(lots, unit)])


class RuleHolds:
    """The holds that name a rule instead of a node, and what they take in."""

    def __init__(self, reader: Reader) -> None:
        """Read them, lifted ones too: one query."""
        self._held: dict[str, Hold] = {hold.hold: hold for hold in reader.rows(Hold, "node", ANY)}

    def over(self, lots: Sequence[Lot], unit: Unit | None = None) -> list[Hold]:
        """Those whose rule takes in one of the lots, or the ball ``unit`` where a rule goes by serial. Asks nothing."""
        return [hold for hold in self._held.values() if fits_any(hold, lots, unit)]


def _seen(rows: Iterable[Hold]) -> tuple[HoldSeen, ...]:
    return tuple(hold_seen(row) for row in sorted(rows, key=lambda row: (row.opened_ms, row.hold)))


def hold_seen(row: Hold) -> HoldSeen:
    """A hold row as a person sees it."""
    return HoldSeen(
        hold=row.hold,
        node=row.node,
        stops=row.stops,
        reason=row.reason,
        opened_at=instant_text(row.opened_ms),
        open=row.open,
        recall=row.recall,
        rule=row.rule or "",
    )
