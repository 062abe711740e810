"""The figures of a ball and of its lots, each with those of its like: what `ledger.warranty.out_of_family` compares.

The like of a reading: balls of the same model and weight class, read in the same unit and state of surface, of the shell
lots that began nearest in time to the ball's own.  The like of a cure: the same stage of other lots of the model, nearest
in time, where the end of the stage stands with the lot and not with a single ball.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.application.cure_times import CureTime
from ledger.conformity.from_rows import day_of
from ledger.line.lineage import HEIRS
from ledger.line.lot_changes import CURED_STEPS
from ledger.line.quantity import QUANTITIES, SCALE, UNITS
from ledger.line.rows import Descent, Lot, LotStep
from ledger.line.standing_readings import Manner, manner_of, parse_manner, sources_of
from ledger.store.families import LikeBall, like_balls, lots_near
from ledger.store.reader import Reader
from ledger.store.selections import Selected, StoredEdges, rows_with
from ledger.warranty.ball_record import Figure

WITHIN_MS = 26 * 7 * 86_400_000
"""Lots that began further away in time are not of the family (half a year either way; common practice, no source)."""

MOST_LOTS = 60
MOST_BALLS = 1_000
"""The nearest lots, and the balls of them, that a figure is held against at most."""

OF_A_LOT = 100
"""Balls of one lot at most, so that a large lot is not its own family."""


class Families:
    """Finds the like of one ball after another; what was asked for once is remembered."""

    def __init__(self, reader: Reader) -> None:
        """Read within the reader's look."""
        self._reader = reader
        self._near: dict[tuple[str, str, int], list[Lot]] = {}

    def readings(self, one: Selected) -> tuple[Figure, ...]:
        """The readings of a ball that stand, each with those of its like. At most one query a lot near it in time."""
        measured, model = one.measured, one.lot.model
        manners = manner_of(measured)
        if measured is None or model is None or not manners:
            return ()
        quantities = sorted(manners)
        lots = self._lots(model, "shell", one.lot.began_ms)
        named = [lot.lot for lot in lots]
        balls = like_balls(self._reader, named, one.unit.weight_class, quantities, most=MOST_BALLS, of_a_lot=OF_A_LOT)
        others = [ball for ball in balls if ball.unit != one.unit.unit]
        sources, among = sources_of(measured), _among(one, lots, others)
        return tuple(
            Figure(
                what=QUANTITIES[quantity].name,
                unit=UNITS[manners[quantity].unit].printed,
                value=getattr(measured, quantity),
                parts=SCALE,
                others=tuple(_values(others, place, quantity, manners[quantity])),
                among=among,
                facts=(sources[quantity].fact,) if quantity in sources else (),
            )
            for place, quantity in enumerate(quantities)
            if getattr(measured, quantity, None) is not None
        )

    def cures(
        self, times: Sequence[CureTime], lots: dict[str, Lot], edges: Sequence[Descent]
    ) -> dict[str, list[Figure]]:
        """The cure and rest times of a ball's lots, by lot, each with those of its like."""
        found: dict[str, list[Figure]] = {}
        for time in times:
            lot = lots[time.lot]
            children = [lots[e.child] for e in edges if e.parent == lot.lot and e.part == lot.stage and e.child in lots]
            for others, models in self._like_times(time.stage, lot, children):
                figure = Figure(
                    what=time.stage,
                    unit="s",
                    value=time.elapsed_s,
                    others=tuple(others),
                    among=f"of lots of model {models} begun nearest in time",
                    facts=(lot.address,),
                )
                found.setdefault(lot.lot, []).append(figure)
        return found

    def _like_times(self, stage: str, lot: Lot, children: Sequence[Lot]) -> list[tuple[list[int], str]]:
        """The times of the like of a stage, and the model that they are of; none where it does not stand with the lot."""
        if stage.endswith("-demould") and lot.model is not None:
            near = self._poured(lot.model, lot.stage, lot.began_ms)
            return [([(o.ended_ms - o.began_ms) // 1000 for o in near if o.lot != lot.lot], lot.model)]
        if stage.endswith("-rest") and len(children) == 1 and children[0].model is not None:
            return [(self._rests(lot, children[0]), children[0].model)]
        if stage == "final-cure" and lot.model is not None and lot.lot in self._cured([lot]):
            cured = self._cured(self._poured(lot.model, "shell", lot.began_ms))
            return [([lasted for name, lasted in cured.items() if name != lot.lot], lot.model)]
        return []

    def _rests(self, lot: Lot, child: Lot) -> list[int]:
        near = {other.lot: other for other in self._poured(str(child.model), child.stage, child.began_ms)}
        edges = [edge for edge in StoredEdges(self._reader).parents(list(near)) if edge.part == lot.stage]
        parents: dict[str, Lot] = {
            row.lot: row for row in rows_with(self._reader, Lot, "lot", {edge.parent for edge in edges})
        }
        return [
            (near[edge.child].began_ms - parents[edge.parent].ended_ms) // 1000
            for edge in edges
            if edge.parent in parents and (edge.parent, edge.child) != (lot.lot, child.lot)
        ]

    def _cured(self, lots: Sequence[Lot]) -> dict[str, int]:
        """The seconds from demoulding to the first step on the whole lot that a final cure comes before."""
        ended = {lot.lot: lot.ended_ms for lot in lots}
        steps: list[LotStep] = rows_with(self._reader, LotStep, "lot", list(ended))
        first: dict[str, int] = {}
        for step in steps:
            if step.step in CURED_STEPS:
                first[step.lot] = min(step.began_ms, first.get(step.lot, step.began_ms))
        return {name: (at_ms - ended[name]) // 1000 for name, at_ms in first.items()}

    def _poured(self, model: str, stage: str, at_ms: int) -> list[Lot]:
        """The lots near in time that were poured, without those that only went on from others."""
        near = self._lots(model, stage, at_ms)
        edges = StoredEdges(self._reader).parents([lot.lot for lot in near])
        heirs = {edge.child for edge in edges if edge.part in HEIRS}
        return [lot for lot in near if lot.lot not in heirs]

    def _lots(self, model: str, stage: str, at_ms: int) -> list[Lot]:
        key = model, stage, at_ms
        if key not in self._near:
            self._near[key] = lots_near(self._reader, model, stage, at_ms, within_ms=WITHIN_MS, most=MOST_LOTS)
        return self._near[key]


def _values(others: Sequence[LikeBall], place: int, quantity: str, manner: Manner) -> list[int]:
    """The values of a quantity of those that were read in the same unit and state of surface."""
    found: list[int] = []
    for ball in others:
        value, how = ball.values[place], parse_manner(ball.manner).get(quantity)
        if value is not None and how is not None and (how.unit, how.surface) == (manner.unit, manner.surface):
            found.append(value)
    return found


def _among(one: Selected, lots: Sequence[Lot], others: Sequence[LikeBall]) -> str:
    at = "" if one.unit.weight_class is None else f" at {one.unit.weight_class} lb"
    used = {ball.lot for ball in others}
    days = sorted(day_of(lot.began_ms) for lot in lots if lot.lot in used)
    span = f", of {len(used)} shell lots begun from {days[0]} to {days[-1]}" if days else ""
    return f"of model {one.lot.model}{at}{span}"
