"""The cases whose suspect a ball is, or may be, below: with the lot that is suspected, or with the ball itself."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from ledger.line.case_members import member_needs, touches
from ledger.line.case_rows import Case
from ledger.line.state import Need, State
from ledger.line.suspects import STAGE_OF, Suspect
from ledger.store.reader import Reader
from ledger.store.selections import Selected, every_row
from ledger.warranty.ball_record import Remark

_SUSPECT = msgspec.json.Decoder(Suspect).decode


def case_remarks(reader: Reader, one: Selected) -> dict[str, list[Remark]]:
    """What cases there are over a ball, by node. Cost: the cases of the book, of which a plant has few, and one state."""
    rows: list[Case] = every_row(reader.transaction, Case)
    suspects = [(row, _SUSPECT(row.suspect)) for row in sorted(rows, key=lambda row: (row.opened_ms, row.case))]
    unit = one.unit.unit

    def needs(state: State) -> Iterator[Need]:
        for _, suspect in suspects:
            yield from member_needs(suspect, unit, state)

    state = reader.state_with(needs)
    found: dict[str, list[Remark]] = {}
    for row, suspect in suspects:
        if touches(suspect, unit, state):
            node = f"lot:{suspect.name}" if suspect.sort in STAGE_OF else f"unit:{unit}"
            found.setdefault(node, []).append(_remark(row, suspect))
    return found


def _remark(row: Case, suspect: Suspect) -> Remark:
    whom = suspect.name if isinstance(suspect.name, str) else "serials"
    action = "" if row.action == "none" else f", {row.action}"
    # A lot has its own word for how surely the ball is of it, and a number is borne or not.
    surely = "; the ball is below it, or may be" if suspect.sort in {"mould", "station"} else ""
    return Remark(
        sort="case open" if row.open else "case closed",
        said=f"{row.case} ({row.why}) on {suspect.sort} {whom}, {row.reason}{action}{surely}",
        facts=(row.address,),
    )
