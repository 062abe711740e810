"""Balls that are out as first quality and fail a body's limit by the readings that stand now.

Each is judged by the editions that its release names, by digest: a plan or edition that came later does not change what
it was let out under.  An edition whose file is not here judges nothing (a release that rests on one is refused in the first
place).  What a body's limit says counts here; that of the house does not, and neither does a verdict that is undecided or
not measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from ledger.application.adopted_files import RulebooksHere, rulebooks_here
from ledger.application.judging import grounds_of, judge_by, judged_rows
from ledger.conformity.from_rows import JudgedRows
from ledger.conformity.verdict import Verdict
from ledger.duties.late_readings import FailingReading
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.line.releases import Basis, Release
from ledger.line.rows import FactRow
from ledger.line.standing_readings import sources_of
from ledger.store.bodies import BodyReader
from ledger.store.reader import Reader
from ledger.store.selections import Selected, rows_with, select_units

OUT = frozenset({"released", "shipped"})
"""The states of a ball whose release stands."""


def failing_units(reader: Reader, units: Sequence[str]) -> list[FailingReading]:
    """The same for balls by name."""
    return failing_balls(reader, select_units(reader.transaction, units))


def failing_balls(reader: Reader, balls: Iterable[Selected]) -> list[FailingReading]:
    """One answer for each of the balls that is out as first quality and does not conform. Cost: about ten queries for all."""
    first = [one for one in balls if one.unit.grade == "first" and one.unit.state in OUT and one.unit.release]
    if not first:
        return []
    releases = BodyReader(reader.transaction.dialect).body(reader.transaction, [str(one.unit.release) for one in first])
    here, grounds = rulebooks_here(reader), grounds_of(reader, first)
    failing = []
    for one in first:
        told: list[Any] = [*releases.get(str(one.unit.release), ())]
        for record in (body.fact.record for body in told):
            if isinstance(record, Release):
                failing += [(one, *worst) for worst in _newest(one, judged_rows(one, grounds), record.bases, here)]
    rows: list[FactRow] = rows_with(reader, FactRow, "address", {fact for _, _, _, fact in failing})
    said = {row.address: row.body or row.address for row in rows}
    return [
        FailingReading(
            unit=one.unit.unit,
            rulebook=rulebook,
            quantity=verdict.quantity,
            limit=verdict.limit,
            value=verdict.value or "",
            fact=fact,
            said=said.get(fact, fact),
        )
        for one, rulebook, verdict, fact in failing
    ]


def read_after(one: Selected, release: str) -> bool:
    """Whether a reading of the ball that stands was entered after the release at that address."""
    since = parse_address(release)
    return any(parse_address(source.fact) > since for source in sources_of(one.measured).values())


def _newest(
    one: Selected, rows: JudgedRows, bases: Iterable[Basis], here: RulebooksHere
) -> list[tuple[str, Verdict, str]]:
    """Rulebook, verdict and fact of the newest reading that fails; none where the ball fails no limit."""
    newest = max((parse_address(source.fact) for source in sources_of(one.measured).values()), default=(0, 0))
    failed = [
        (rulebook, verdict, verdict.fact or "{}.{}".format(*newest))
        for rulebook, verdict in _verdicts(rows, bases, here)
        if verdict.outcome == "does_not_conform"
    ]
    return sorted(failed, key=lambda found: parse_address(found[2]), reverse=True)[:1]


def _verdicts(rows: JudgedRows, bases: Iterable[Basis], here: RulebooksHere) -> Iterator[tuple[str, Verdict]]:
    for basis in bases:
        try:
            edition = here.shelf.find_digest(basis.digest)
        except NotFound:
            continue
        for verdict in judge_by(edition, rows, None).verdicts:
            yield basis.rulebook, verdict
