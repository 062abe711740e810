"""Families of what balls may share, and which cohorts of balls each member of a family has, `certain` or `possible`.

The families: block, core and shell lots, batches, material lots, mould sets, stations, and weeks in which a shell was poured.
A mould set or station counts wherever a lot above the ball passed it: the moulds of blocks and cores too; a line and a mixer
are stations of a pour.  Where a lot went on in another mould set, line or mixer at a count, both are possible.
A week is that in which the pour of the shell began; a lot that was split off or merged has the weeks of those before it.

A cohort that only may descend from a member counts for it whole: a lot that is `possible` for a ball is counted as if it were
in it.  So two core lots that went into one shell lot have the same balls, and nothing in claims can tell them apart.
Recorded positions of single balls are not used here; tracing uses them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, NamedTuple

from ledger.line.lineage import HEIRS, alternatives
from ledger.line.making_rows import Made
from ledger.line.makings import makings_of
from ledger.line.rows import Descent
from ledger.line.weeks import week_of
from ledger.tracing.parts import Certainty, certain_sets, depth_first
from ledger.warranty.exposure import Cohort

Family = Literal["block", "core", "shell", "batch", "material", "mould", "station", "week"]

FAMILIES: tuple[Family, ...] = ("block", "core", "shell", "batch", "material", "mould", "station", "week")

BY_STAGE: tuple[Family, ...] = ("block", "core", "shell", "batch", "material")
"""The families whose members are lots of the stage of that name."""

Members = dict[str, dict[int, Certainty]]
"""Member by name, and for each of its cohorts (by place in the list) how surely they are its."""


class Ground(NamedTuple):
    """What the families of a book are made of.

    ``stages``: lot to stage; ``poured``: shell lot to the milliseconds of its pour; ``steps``: lot to the stations that it
    was worked at.
    """

    cohorts: Sequence[Cohort]
    stages: Mapping[str, str]
    poured: Mapping[str, int]
    edges: Sequence[Descent]
    made: Sequence[Made]
    steps: Mapping[str, Sequence[str]]


def family_members(ground: Ground) -> dict[Family, Members]:
    """The members of every family. One walk over the edges, each shell lot's ancestors once."""
    found: dict[Family, Members] = {family: {} for family in FAMILIES}
    cohorts_of: dict[str, list[int]] = {}
    for place, cohort in enumerate(ground.cohorts):
        cohorts_of.setdefault(cohort.lot, []).append(place)
    passed = _Passed(ground.made, ground.steps)
    went_on = _went_on_from(ground.edges)
    for lot, above in _ancestries(list(cohorts_of), ground.edges).items():
        places = cohorts_of[lot]
        for name, certainty in above.items():
            stage = ground.stages.get(name)
            for family in BY_STAGE:
                if family == stage:
                    _enter(found[family], name, places, certainty)
            for family, member, sure in passed.of(name):
                both: Certainty = "certain" if certainty == sure == "certain" else "possible"
                _enter(found[family], member, places, both)
        weeks = {week_of(ground.poured[name]) for name in _pours(lot, went_on) if name in ground.poured}
        for week in sorted(weeks):
            _enter(found["week"], week, places, "certain" if len(weeks) == 1 else "possible")
    for place, cohort in enumerate(ground.cohorts):
        if cohort.station is not None:
            _enter(found["station"], cohort.station, [place], "certain")
    return found


def _enter(members: Members, name: str, cohorts: Iterable[int], certainty: Certainty) -> None:
    """Once certain, always certain: a ball may have met a member in several ways."""
    known = members.setdefault(name, {})
    for place in cohorts:
        if certainty == "certain" or place not in known:
            known[place] = certainty


def _went_on_from(edges: Iterable[Descent]) -> dict[str, list[str]]:
    """Lot to those that it goes on from, its pieces unchanged."""
    found: dict[str, list[str]] = {}
    for edge in edges:
        if edge.part in HEIRS:
            found.setdefault(edge.child, []).append(edge.parent)
    return found


def _pours(lot: str, went_on: Mapping[str, Sequence[str]]) -> list[str]:
    """The lots in which the pieces of a lot were made: itself, but for one that goes on from others."""
    order = depth_first([lot], lambda one: went_on.get(one, ()))
    return [one for one in order if one not in went_on]


class _Passed:
    """Where each lot was poured and worked."""

    def __init__(self, made: Sequence[Made], steps: Mapping[str, Sequence[str]]) -> None:
        self._made: dict[str, list[Made]] = {}
        for row in made:
            self._made.setdefault(row.lot, []).append(row)
        self._steps = steps
        self._known: dict[str, list[tuple[Family, str, Certainty]]] = {}

    def of(self, lot: str) -> list[tuple[Family, str, Certainty]]:
        """Family, member and certainty for a piece of this lot."""
        found = self._known.get(lot)
        if found is None:
            found = self._known[lot] = list(self._find(lot))
        return found

    def _find(self, lot: str) -> Iterable[tuple[Family, str, Certainty]]:
        stretches = makings_of(self._made.get(lot, ()))
        kinds: tuple[tuple[Family, set[str | None]], ...] = (
            ("mould", {one.mould_set for one in stretches}),
            ("station", {one.line for one in stretches}),
            ("station", {one.mixer for one in stretches}),
        )
        for family, names in kinds:
            sure: Certainty = "certain" if len(names) == 1 else "possible"
            yield from ((family, name, sure) for name in sorted(names - {None}, key=str) if name is not None)
        yield from (("station", station, "certain") for station in self._steps.get(lot, ()))


def _ancestries(lots: Sequence[str], edges: Sequence[Descent]) -> dict[str, dict[str, Certainty]]:
    """Each lot with all above it and itself."""
    above: dict[str, list[Descent]] = {}
    for edge in edges:
        above.setdefault(edge.child, []).append(edge)
    order = depth_first(lots, lambda lot: [edge.parent for edge in above.get(lot, ())])
    sure = certain_sets(order, {lot: alternatives(found) for lot, found in above.items()})
    reach: dict[str, frozenset[str]] = {}
    for lot in order:
        parents = [edge.parent for edge in above.get(lot, ())]
        # A lot that descends from itself (a fault of the records) comes before one of those above it: that is left out.
        reach[lot] = frozenset({lot}).union(*(reach.get(parent, frozenset({parent})) for parent in parents))
    return {
        lot: {name: "certain" if name == lot or name in sure[lot] else "possible" for name in sorted(reach[lot])}
        for lot in lots
    }
