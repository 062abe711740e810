"""The breaches that a correction brought with it, those that re-checks found because of it, and the holds they opened."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from ledger.application.correction_before import Landed
from ledger.line.fact import Breach
from ledger.line.rows import About, BreachRow, FactRow, Hold
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class BreachOpened(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A rule that turns out not to have been kept: on what, said by which fact, and the hold that it opened.

    ``fact``: the corrected fact that it belongs to, the correction itself, or a re-check because of it.  ``hold`` is empty
    where it holds nothing.
    """

    code: str
    node: str
    said: str
    fact: str
    hold: str = ""
    hold_open: bool = False
    mend: str = ""


def opened_by(reader: Reader, correction: Landed) -> tuple[BreachOpened, ...]:
    """In the order in which they were said. Four queries."""
    found = [*_own(correction), *_rechecks(reader, correction.address)]
    holds: dict[str, Hold] = {row.hold: row for row in rows_with(reader, Hold, "hold", [one.hold for one in found])}
    return tuple(
        msgspec.structs.replace(
            one,
            hold=one.hold if one.hold in holds else "",
            hold_open=one.hold in holds and holds[one.hold].open,
        )
        for one in found
    )


def _own(correction: Landed) -> list[BreachOpened]:
    """Those of its own entry; each opened a hold that is called after the correction, the change and its number there."""
    numbers: dict[object, int] = {}
    found: list[BreachOpened] = []
    for breach in correction.breaches:
        change = breach.change
        number = numbers[change] = numbers.get(change, -1) + 1
        at = correction.address if change is UNSET else f"{correction.address}.{change}"
        fact = correction.address if change is UNSET else correction.record.changes[int(str(change))].fact
        found.append(_opened(breach, fact, f"B{at}.{number}"))
    return found


def _opened(breach: Breach, fact: str, hold: str) -> BreachOpened:
    return BreachOpened(
        code=breach.code,
        node=breach.node,
        said=breach.said,
        fact=fact,
        hold=hold if breach.holds else "",
        mend="" if breach.mend is UNSET else breach.mend,
    )


def _rechecks(reader: Reader, correction: str) -> list[BreachOpened]:
    about: list[About] = reader.rows(About, "node", f"fact:{correction}")
    facts: list[FactRow] = rows_with(reader, FactRow, "address", [one.address for one in about])
    rechecks = [
        row.address for row in sorted(facts, key=lambda row: (row.index, row.position)) if row.kind == "recheck"
    ]
    rows: list[BreachRow] = rows_with(reader, BreachRow, "address", rechecks)
    return [
        BreachOpened(code=row.code, node=row.node, said=row.said, fact=row.address, hold=row.breach) for row in rows
    ]
