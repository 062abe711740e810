"""What a report draws of a ball beside its sheet: its stages of cure against the plan, and the lines between its lots."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from ledger.application.cure_times import CureTime, cure_times
from ledger.application.trace_web import TraceWeb, trace_web
from ledger.errors import NotFound
from ledger.line.rows import Descent, Lot, Unit
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with

if TYPE_CHECKING:
    from ledger.evidence.pdf.parts import Background, CureSpan


class _Above(NamedTuple):
    """What lies above a lot, or one piece of it."""

    web: TraceWeb
    lots: list[Lot]
    edges: list[Descent]
    certain: set[str]


def report_backgrounds(reader: Reader, units: Iterable[str]) -> dict[str, Background]:
    """The background of each ball, by unit. Raises NotFound for a unit that the book does not hold.

    What lies above a lot is read once for all of its balls, unless they have places in it.
    """
    # The package takes a second to import, and is wanted for a report alone.
    from ledger.evidence.pdf.parts import Background, LotLink  # noqa: PLC0415

    above: dict[tuple[str, int | None], _Above] = {}
    found: dict[str, Background] = {}
    for name in units:
        unit = reader.one(Unit, name)
        if unit is None:
            raise NotFound(f"unit {name} is not in the book", where="unit")
        key = (unit.lot, unit.place)
        if key not in above:
            above[key] = _above(reader, unit)
        told = above[key]
        spans = cure_times(reader, unit, told.lots, told.edges, told.certain)
        found[name] = Background(
            cures=tuple(map(_span, spans)),
            links=tuple(LotLink(line.child, line.parent, line.certainty == "certain") for line in told.web.lines),
            names={lot.lot: lot.material for lot in told.web.lots if lot.material is not None},
        )
    return found


def _above(reader: Reader, unit: Unit) -> _Above:
    web = trace_web(reader, unit.lot, "up", place=unit.place)
    names = [lot.lot for lot in web.lots]
    return _Above(
        web=web,
        lots=rows_with(reader, Lot, "lot", names),
        edges=list(StoredEdges(reader).parents(names)),
        certain={lot.lot for lot in web.lots if lot.certainty == "certain"},
    )


def _span(cure: CureTime) -> CureSpan:
    from ledger.evidence.pdf.parts import CureSpan  # noqa: PLC0415  # as above

    return CureSpan(
        stage=cure.stage,
        lot=cure.lot,
        began=cure.began_at,
        ended=cure.ended_at,
        elapsed_s=cure.elapsed_s,
        least_s=cure.least_s,
        most_s=cure.most_s,
        kept=cure.kept,
        certain=cure.certain,
        temperature=cure.temperature,
    )
