"""Which balls belong to which lot, mould, station and week, for certain or perhaps."""

from __future__ import annotations

from hypothesis import given

from ledger.line.making_rows import Made
from ledger.line.rows import Descent
from ledger.tracing.back import trace_back
from ledger.warranty.exposure import Cohort
from ledger.warranty.members import FAMILIES, Ground, family_members
from tests.tracing.lots_made import HeldEdges, plants

WEEK_MS = 7 * 86_400_000


def edge(child: str, parent: str, part: str = "core", *, blended: bool = False) -> Descent:
    """A child lot holds pieces of a parent."""
    return Descent(
        descent=f"{child}<{parent}", child=child, parent=parent, part=part, blended=blended, amount=1, first=None, last=None
    )  # fmt: skip


def made(lot: str, number: int, after: int = 0, **where: str) -> Made:
    """A pour, or a change in it."""
    named = {"line": None, "mould_set": None, "mixer": None, **where}
    return Made(made=f"{number}.0", lot=lot, after=after, from_ms=0, to_ms=0, **named)


STAGES = {"S1": "shell", "S2": "shell", "C1": "core", "C2": "core", "K1": "block", "B1": "batch", "R1": "material"}
EDGES = [
    edge("S1", "C1"),
    edge("S2", "C1"),
    edge("S2", "C2"),
    edge("C1", "K1", "block"),
    edge("C2", "K1", "block"),
    edge("K1", "B1", "compound"),
    edge("B1", "R1", "material:R1", blended=True),
]


def ground(**changed: object) -> Ground:
    """Two shell lots; the second holds cores of one core lot or the other, both of one block lot."""
    base = Ground(
        cohorts=[Cohort("S1", "E-1", "M1"), Cohort("S2", "E-1", "M1"), Cohort("S2", "E-2", "M1")],
        stages=STAGES,
        poured={"S1": 0, "S2": WEEK_MS},
        edges=EDGES,
        made=[made("S1", 1, line="L-1", mould_set="MS-1"), made("S2", 2, line="L-1", mould_set="MS-1")],
        steps={"C1": ["W-1"], "S2": ["W-2"]},
    )
    return base._replace(**changed)  # type: ignore[arg-type]  # fields by their names


def test_lots_of_every_stage() -> None:
    """What two core lots may have given is possible for both; the block lot above both is certain."""
    found = family_members(ground())
    assert {"S1": {0: "certain"}, "S2": {1: "certain", 2: "certain"}} == found["shell"]
    possible = {1: "possible", 2: "possible"}
    assert {"C1": {0: "certain", **possible}, "C2": possible} == found["core"]
    everything = dict.fromkeys(range(3), "certain")
    assert ({"K1": everything}, {"B1": everything}, {"R1": everything}) == (
        found["block"], found["batch"], found["material"],
    )  # fmt: skip
    assert set(FAMILIES) == set(found)


def test_moulds_and_stations_wherever_a_piece_passed() -> None:
    """A step on a core lot counts for the balls that may hold it; where a ball was engraved is certain."""
    found = family_members(ground())
    assert {"MS-1": dict.fromkeys(range(3), "certain")} == found["mould"]
    assert {0: "certain", 1: "possible", 2: "possible"} == found["station"]["W-1"]
    assert {1: "certain", 2: "certain"} == found["station"]["W-2"]
    assert ({0: "certain", 1: "certain"}, {2: "certain"}) == (found["station"]["E-1"], found["station"]["E-2"])
    assert dict.fromkeys(range(3), "certain") == found["station"]["L-1"]


def test_a_mould_set_that_was_changed_in_mid_lot_is_possible() -> None:
    """The pieces before and after the change are not told apart here; what did not change stays certain."""
    rows = [made("S1", 1, line="L-1", mould_set="MS-1"), made("S1", 3, after=4, mould_set="MS-2")]
    found = family_members(ground(made=rows))
    assert {"MS-1": {0: "possible"}, "MS-2": {0: "possible"}} == found["mould"]
    assert {0: "certain"} == found["station"]["L-1"]


def test_weeks_of_the_pour_of_the_shell() -> None:
    """By ISO week in UTC: 1970 began on a Thursday."""
    assert {"1970-W01": {0: "certain"}, "1970-W02": {1: "certain", 2: "certain"}} == family_members(ground())["week"]


def test_a_lot_that_goes_on_from_others_has_their_weeks() -> None:
    """Certain where they are of one week, possible where they are of two; its own beginning counts for nothing."""
    heirs = [edge("S3", "S1", "split"), edge("S4", "S3", "merge"), edge("S4", "S2", "merge"), edge("S5", "S1", "merge"),
             edge("S5", "S3", "merge")]  # fmt: skip
    poured = {"S1": 0, "S2": WEEK_MS, "S3": 0, "S4": 0, "S5": 5 * WEEK_MS}
    cohorts = [Cohort(lot, None, "M1") for lot in ("S3", "S4", "S5")]
    found = family_members(ground(cohorts=cohorts, poured=poured, edges=[*EDGES, *heirs]))["week"]
    assert {"1970-W01": {0: "certain", 1: "possible", 2: "certain"}, "1970-W02": {1: "possible"}} == found


def test_lots_that_descend_from_themselves_come_to_an_end() -> None:
    """A fault of the records is walked once."""
    found = family_members(ground(edges=[*EDGES, edge("K1", "C1", "own")]))
    assert set(found["core"]) == {"C1", "C2"}


@given(plants())
def test_certainty_is_that_of_tracing(edges: list[Descent]) -> None:
    """Random descents: a member's cohorts are the lots that trace back to it, with the same certainty."""
    shells = ["L3", "L4", "L5"]
    stages = {f"L{number}": "shell" if number > 2 else "core" for number in range(6)}
    cohorts = [Cohort(lot, None, "M") for lot in shells]
    found = family_members(Ground(cohorts, stages, dict.fromkeys(shells, 0), edges, [], {}))
    for place, lot in enumerate(shells):
        above = {one.lot: one.certainty for one in trace_back(HeldEdges(*edges), lot).ancestors}
        traced = {name: certainty for name, certainty in above.items() if stages[name] == "core"}
        assert traced == {name: held[place] for name, held in found["core"].items() if place in held}
