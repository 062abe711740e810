"""Whether the lists of candidates from which samples were drawn were whole, as far as the closed lots in a dossier show it.

A closed lot's root is over every ball that it had, each a leaf over its unit and number (`ledger.evidence.lot_check`), and a
candidate is listed by its unit and number: so a lot of which every leaf is a candidate was left out of no draw.  A ball of a
closed lot that is no candidate may have been made later, have been numbered anew, or been in a state or of a class that was
not announced: only entries that need not be in the dossier say so, so it is told and not taken for a fault.  Of lots that
are not here with the fact that closed them nothing is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from msgspec import UNSET

from ledger.evidence.approval_check import parse_candidates
from ledger.evidence.dossier_format import LotPage
from ledger.evidence.lot_check import ball_leaf
from ledger.line.approval_rows import ApprovalAnnouncement


class CandidatesFound(NamedTuple):
    """What the lots show of the lists, and what they do not, each in words; empty where there is nothing to say."""

    found: str = ""
    left: str = ""


def check_candidates(
    announcements: Sequence[ApprovalAnnouncement], read: Callable[[str], bytes], pages: Sequence[LotPage]
) -> CandidatesFound:
    """Hold the lists of an approval file against the pages of closed lots, both of which were checked before.

    ``read(digest)`` gives a list. Raises what ``read`` raises, MalformedInput for a list that is none.
    """
    closed = {page.lot: page for page in pages if page.closed is not UNSET}
    said = [line for row in announcements for line in _lines(row, read(row.candidates), closed)]
    return CandidatesFound(
        "; ".join(line.found for line in said if line.found), "; ".join(line.left for line in said if line.left)
    )


def _lines(row: ApprovalAnnouncement, raw: bytes, closed: dict[str, LotPage]) -> Iterator[CandidatesFound]:
    listed = {ball_leaf(one.unit, one.serial) for one in parse_candidates(raw)}
    named = row.lots.split(",") if row.lots else []
    here = [page for lot, page in closed.items() if lot in named or (not named and listed.intersection(page.leaves))]
    for page in here:
        count = len(page.leaves)
        missing = sum(leaf not in listed for leaf in page.leaves)
        if missing:
            yield CandidatesFound(
                left=f"whether {missing} of the {count} balls that lot {page.lot} had when it was closed should have been "
                f"candidates of fact {row.announcement}"
            )
        else:
            yield CandidatesFound(
                f"every ball that lot {page.lot} had when it was closed, {count} of {count}, was a candidate of fact "
                f"{row.announcement}"
            )
    away = [lot for lot in named if lot not in closed]
    if away:
        lots = f"lot {away[0]} is" if len(away) == 1 else f"lots {', '.join(away)} are"
        yield CandidatesFound(
            left=f"whether all candidates are listed by fact {row.announcement}: {lots} not here as closed"
        )
    if not named:
        yield CandidatesFound(
            left=f"whether lots that are not here had candidates that fact {row.announcement} should have listed"
        )
