"""Every lot and ball that a suspect touches, certain or possible: found once, then counted or listed.

A ball is *certain* where the records leave no other way: all of its lot descends from what is suspected, it was named by
itself, or its recorded position says so. It is *possible* where it may have been another piece; containment takes it in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from ledger.errors import NotFound
from ledger.line.makings import Making, makings_of
from ledger.line.reading_rows import Gauge
from ledger.line.rows import Lot
from ledger.line.suspects import STAGE_OF, Span, Suspect, check_suspect, span_of
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with
from ledger.store.suspects import (
    SuspectUnit,
    balls_per_lot,
    count_by_place,
    count_named,
    engraved_lots,
    lots_read_with,
    named_units,
    poured_in,
    poured_with,
    units_in,
    worked_at,
)
from ledger.store.whereabouts import Whereabouts
from ledger.tracing.forward import trace_from
from ledger.tracing.parts import Certainty


class SuspectBall(NamedTuple):
    """A ball below a suspect, and how surely."""

    ball: SuspectUnit
    certainty: Certainty


class Roots(NamedTuple):
    """What a suspect touched at first hand.

    ``lots``: whole lots, and those of which only some pieces were touched, as *possible*; ``stretches``: the pieces of
    these, where positions tell; ``named``: how many balls of each lot are named one by one; ``engraved``: lots with balls
    engraved there, all or some.
    """

    lots: dict[str, Certainty]
    stretches: dict[str, tuple[tuple[Making, Certainty], ...]]
    named: dict[str, int]
    engraved: dict[str, bool]


class SuspectSet:
    """All below a suspect, within one look at the store."""

    def __init__(self, reader: Reader, suspect: Suspect) -> None:
        """Trace it: two queries a level, and a few for its roots. Raises MalformedRecord, NotFound."""
        check_suspect(suspect)
        self.suspect = suspect
        self._reader = reader
        self.roots = _roots(reader, suspect)
        self.trace = trace_from(StoredEdges(reader), self.roots.lots)
        names = [*self.roots.lots, *(below.lot for below in self.trace.descendants)]
        self.lots: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", names)}
        self._engraving = (str(suspect.name), span_of(suspect)) if suspect.sort == "station" else None
        self._sort_lots()

    def _sort_lots(self) -> None:
        """Tell the lots whose balls are all alike from those that are looked at ball by ball."""
        alike: dict[str, Certainty] = {}
        looked: set[str] = set()
        for lot, row in self.lots.items():
            certainty = self.trace.certainty_of(lot)
            if row.stage == "shell" and certainty is not None:
                if lot in self.roots.stretches or self.trace.by_place(lot):
                    looked.add(lot)
                else:
                    alike[lot] = certainty
        for lot, whole in self.roots.engraved.items():
            if alike.get(lot) != "certain":
                alike.pop(lot, None)
                if whole and lot not in looked:
                    alike[lot] = "certain"
                else:
                    looked.add(lot)
        named = self.roots.named
        for lot, balls in balls_per_lot(self._reader, sorted(named)).items():
            if alike.get(lot) != "certain" and lot not in looked:
                alike.pop(lot, None)
                if named[lot] == balls:
                    alike[lot] = "certain"
                else:
                    looked.add(lot)
        self._alike, self._looked = alike, looked
        self._units = named_units(self._reader, self.suspect, sorted(looked & named.keys()))

    @property
    def ball_lots(self) -> list[str]:
        """The shell lots of which some ball may be below, in order."""
        return sorted({*self._alike, *self._looked})

    def counts(self) -> dict[Certainty, Counter[Whereabouts]]:
        """How many balls are below, surely or possibly, in each state and shipment.

        Cost: an index entry a ball of lots that are alike, a row a ball of the others.
        """
        found: dict[Certainty, Counter[Whereabouts]] = {"certain": Counter(), "possible": Counter()}
        for certainty, counter in found.items():
            counter.update(count_by_place(self._reader, [lot for lot, one in self._alike.items() if one == certainty]))
        for one in self.balls_of(sorted(self._looked)):
            found[one.certainty][one.ball.where] += 1
        return found

    def balls(self) -> Iterator[SuspectBall]:
        """Every ball below, in the order of lots and units."""
        return self.balls_of(self.ball_lots)

    def balls_of(self, lots: Sequence[str]) -> Iterator[SuspectBall]:
        """Every ball of some lots that is below, in the order of the lots and units."""
        for ball in units_in(self._reader, lots, self._engraving):
            certainty = self.certainty_of(ball)
            if certainty is not None:
                yield SuspectBall(ball, certainty)

    def balls_in(self, lots: Sequence[str]) -> dict[str, int]:
        """How many balls of each of some lots are below; of lots whose balls are alike none is looked at."""
        found = balls_per_lot(self._reader, [lot for lot in lots if lot in self._alike])
        return found | Counter(one.ball.lot for one in self.balls_of([lot for lot in lots if lot in self._looked]))

    def every_ball(self, lot: str) -> Iterator[SuspectUnit]:
        """Every ball of a lot, below or not."""
        return units_in(self._reader, [lot], self._engraving)

    def certainty_of(self, ball: SuspectUnit) -> Certainty | None:
        """How surely a ball is below; None where it is not."""
        if self._alike.get(ball.lot) is not None:
            return self._alike[ball.lot]
        if ball.engraved_there or ball.unit in self._units:
            return "certain"
        stretches = self.roots.stretches.get(ball.lot)
        if stretches is None or ball.place is None:
            return self.trace.of_unit(ball.lot, ball.place)
        above = self.trace.from_above(ball.lot, ball.place)
        own = next((certainty for making, certainty in stretches if making.has(ball.place)), None)
        return "certain" if "certain" in {above, own} else above or own


def _roots(reader: Reader, suspect: Suspect) -> Roots:
    name = str(suspect.name)
    if suspect.sort in STAGE_OF:
        row = reader.one(Lot, name)
        if row is None or row.stage != STAGE_OF[suspect.sort]:
            raise NotFound(
                f"{suspect.sort} {name} is not in the book",
                got=None if row is None else f"a lot of stage {row.stage}",
                where="name",
                mend="check the id on the traveller, and the sort",
            )
        return Roots({name: "certain"}, {}, {}, {})
    if suspect.sort == "week":
        return Roots(dict.fromkeys(poured_in(reader, span_of(suspect)), "certain"), {}, {}, {})
    if suspect.sort == "serials":
        return Roots({}, {}, count_named(reader, suspect), {})
    if suspect.sort == "gauge":
        if reader.one(Gauge, name) is None:
            raise NotFound(f"gauge {name} is not in the book", where="name", mend="correct the id")
        # A reading of a lot is of some of its pieces: which, the book does not say.
        lots: dict[str, Certainty] = dict.fromkeys(lots_read_with(reader, suspect), "possible")
        return Roots(lots, {}, count_named(reader, suspect), {})
    return _passed(reader, suspect)


def _passed(reader: Reader, suspect: Suspect) -> Roots:
    """What was poured in a mould set, or poured, worked and engraved at a station."""
    name, span = str(suspect.name), span_of(suspect)
    poured, stretches = _poured(reader, suspect, span)
    if suspect.sort == "mould":
        return Roots(poured, stretches, {}, {})
    for step in worked_at(reader, name):
        if span.touches(step.began_ms, step.ended_ms):
            whole = span.takes_in(step.began_ms, step.ended_ms)
            if whole or step.lot not in poured:
                poured[step.lot] = "certain" if whole else "possible"
                stretches.pop(step.lot, None)
    engraved = {one.lot: one.there == one.balls for one in engraved_lots(reader, name, span)}
    return Roots(poured, stretches, count_named(reader, suspect), engraved)


def _poured(
    reader: Reader, suspect: Suspect, span: Span
) -> tuple[dict[str, Certainty], dict[str, tuple[tuple[Making, Certainty], ...]]]:
    lots: dict[str, Certainty] = {}
    stretches: dict[str, tuple[tuple[Making, Certainty], ...]] = {}
    for lot, rows in poured_with(reader, suspect).items():
        makings = makings_of(rows)
        hits = tuple(_hits(makings, suspect, span))
        if not hits:
            continue
        whole = len(hits) == len(makings) and makings[0].first == 1
        sure = all(certainty == "certain" for _, certainty in hits)
        lots[lot] = "certain" if whole and sure else "possible"
        if not whole:
            stretches[lot] = hits
    return lots, stretches


def _hits(makings: Iterable[Making], suspect: Suspect, span: Span) -> Iterator[tuple[Making, Certainty]]:
    for making in makings:
        if making.is_with(suspect) and span.touches(making.from_ms, making.to_ms):
            yield making, "certain" if span.takes_in(making.from_ms, making.to_ms) else "possible"
