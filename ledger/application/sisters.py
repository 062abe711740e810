"""Claims on the sisters of a ball: other balls that hold, or may hold, something of a lot that it descends from."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.line.claim_rows import Claim
from ledger.line.rows import Unit
from ledger.store.lot_claims import balls_of_lots, claims_of_lots
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with
from ledger.tracing.forward import trace_forward
from ledger.warranty.ball_record import SisterClaims

SISTER_STAGES = frozenset({"block", "core", "shell"})
"""The lots whose balls are sisters: what they share is rare enough to say something."""


def sister_claims(
    reader: Reader, unit: Unit, lots: Sequence[str], *, but: str | None = None
) -> dict[str, SisterClaims]:
    """The claims on other balls than ``unit``, for each of its lots; a ball clear of a lot by its place is no sister.

    ``but``: a claim that is left out. Cost: two questions a level below each lot, and the balls there; never every claim.
    """
    traces = {lot: trace_forward(StoredEdges(reader), lot) for lot in lots}
    below = sorted({name for lot, trace in traces.items() for name in (lot, *(one.lot for one in trace.descendants))})
    balls = balls_of_lots(reader, below)
    claimed = [one for one in claims_of_lots(reader, below) if one.unit != unit.unit and one.claim != but]
    openings: dict[str, Claim] = {
        row.claim: row for row in rows_with(reader, Claim, "claim", {c.claim for c in claimed})
    }
    found: dict[str, SisterClaims] = {}
    for lot, trace in traces.items():
        count = sum(at.balls for at in balls if trace.of_unit(at.lot, at.place) is not None)
        on_sisters = [one for one in claimed if trace.of_unit(one.lot, one.place) is not None]
        found[lot] = SisterClaims(
            claims=len(on_sisters),
            balls=count - (trace.of_unit(unit.lot, unit.place) is not None),
            rejected=sum(one.state == "reject" for one in on_sisters),
            facts=tuple(dict.fromkeys(openings[one.claim].address for one in on_sisters)),
        )
    return found
