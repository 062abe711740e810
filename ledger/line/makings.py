"""What each piece of a lot was poured with: its pour and the changes in mid-lot, put together.

Pure. After a change at a count, the pieces after it have what changed, and what did not change as before.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from ledger.line.fact import Fact, parse_address
from ledger.line.making_rows import Made
from ledger.line.state import State
from ledger.line.suspects import Suspect


class Making(NamedTuple):
    """Pieces ``first`` to ``last`` (1-based, inclusive; None: to the end) and what they were poured with, where known.

    ``from_ms`` to ``to_ms``: the whole pour of the lot, since the instant of a change in it is no demoulding.
    """

    first: int
    last: int | None
    line: str | None
    mould_set: str | None
    mixer: str | None
    from_ms: int
    to_ms: int

    def is_with(self, suspect: Suspect) -> bool:
        """Whether these pieces were poured in the mould set, or on the line or mixer, that is suspected."""
        named = {self.mould_set} if suspect.sort == "mould" else {self.line, self.mixer}
        return suspect.name in named

    def has(self, place: int) -> bool:
        """Whether the piece at a place is one of them."""
        return self.first <= place and (self.last is None or place <= self.last)


def makings_of(rows: Iterable[Made]) -> list[Making]:
    """The stretches of one lot, in the order of its pieces; none where nothing is on record."""
    ordered = sorted(rows, key=lambda row: (row.after, parse_address(row.made)))
    found: list[Making] = []
    began, ended = min((row.from_ms for row in ordered), default=0), max((row.to_ms for row in ordered), default=0)
    known: tuple[str | None, str | None, str | None] = (None, None, None)
    for number, row in enumerate(ordered):
        said = (row.line, row.mould_set, row.mixer)
        known = tuple(new or old for new, old in zip(said, known, strict=True))  # type: ignore[assignment]  # of three
        last = ordered[number + 1].after if number + 1 < len(ordered) else None
        if last is None or last > row.after:
            found.append(Making(row.after + 1, last, *known, began, ended))
    return found


def enter_made(
    fact: Fact,
    state: State,
    lot: str,
    *,
    after: int = 0,
    from_ms: int,
    line: str | None = None,
    mould_set: str | None = None,
    mixer: str | None = None,
) -> None:
    """Enter what a lot was poured with from piece ``after`` + 1 on."""
    state.put(
        Made(
            made=fact.address,
            lot=lot,
            after=after,
            line=line,
            mould_set=mould_set,
            mixer=mixer,
            from_ms=from_ms,
            to_ms=fact.at_ms,
        )
    )
