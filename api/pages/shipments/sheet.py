"""What both pages share: the list of balls that is scanned line by line, and the page with what stands against each.

A list is looked at by a button of the form, which enters nothing; the page then says of each ball where the book has it.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Generic, NamedTuple, TypeVar

from litestar import Request, Response

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.pages.stations.answers import DONE, Making, field_of, new_key, now_text, say, with_query
from api.pages.stations.of_station import typed_in_form
from api.pages.stations.typed import Typed
from api.parts import Parts, parts_of
from api.problems import Problem, problem_of, status_of
from ledger.application.asking import Reason
from ledger.application.balls_scanned import MOST, BallScanned, balls_scanned
from ledger.errors import LedgerError, MalformedInput
from ledger.line.record import Record
from ledger.line.rows import Body, BreachRow
from ledger.store.reader import open_reader
from ledger.store.selections import rows_with

R = TypeVar("R", bound=Record)

BALLS = "balls"


def of_shipments(summary: str) -> dict[str, Any]:
    """The description of a page of this concern."""
    return described(Operation(summary, "pages", action="shipments", media=HTML, page=True))


class Asked(NamedTuple):
    """What a form says: its fields, and the scans of its list."""

    typed: Typed
    scans: tuple[str, ...]


class Row(NamedTuple):
    """One ball of the list, and what stands against it. ``shown``: what the list says for it."""

    ball: BallScanned
    reasons: tuple[Reason, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing stands against it."""
        return not self.ball.problem and not self.reasons

    @property
    def shown(self) -> str:
        """The number that a person reads on the ball, else its tag, else the scan itself."""
        return self.ball.serial or self.ball.unit or self.ball.text


class EnteredNow(NamedTuple, Generic[R]):
    """An entry that a form became: its records of one kind that stand, and what the book found wrong with them."""

    entry: int
    records: Sequence[R]
    breaches: Sequence[str]


def asked_in_query(request: Request[Any, Any, Any]) -> Asked:
    """What an address says: ``ball`` once for each ball of the list."""
    query = request.query_params
    scans = tuple(text for said in query.getall("ball", [])[:MOST] if (text := said.strip()))
    return Asked(Typed({name: query.getall(name) for name in query}, catalogue_of(request).zone), scans)


async def asked_in_form(request: Request[Any, Any, Any]) -> Asked:
    """What a form says. Raises MalformedInput for a list that is too long."""
    typed = await typed_in_form(request)
    return Asked(typed, typed.lines(BALLS, MOST))


def known_balls(parts: Parts, scans: Sequence[str]) -> tuple[BallScanned, ...]:
    """The balls of the list."""
    with open_reader(parts.book.store) as reader:
        return balls_scanned(reader, scans)


def all_known(balls: Sequence[BallScanned]) -> list[str]:
    """The units of the list. Raises MalformedInput where it is empty, or a scan of it names no ball."""
    wrong = next((ball for ball in balls if ball.problem), None)
    if wrong is not None:
        raise MalformedInput(wrong.problem, got=wrong.text, where=BALLS, mend="scan it again, or take it off the list")
    if not balls:
        raise MalformedInput("no ball is on the list", where=BALLS, mend="scan the balls, one to a line")
    return [ball.unit for ball in balls]


def entered_now(parts: Parts, text: str, kind: type[R]) -> EnteredNow[R] | None:
    """What stands of a kind in the entry that an address names; None where nothing does: an address alone says nothing."""
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        return None
    with open_reader(parts.book.store) as reader:
        bodies = rows_with(reader, Body, "address", [f"{int(text)}.{place}" for place in range(MOST)])
        records = [body.fact.record for body in bodies if isinstance(body.fact.record, kind)]
        if not records:
            return None
        said = rows_with(reader, BreachRow, "address", [body.address for body in bodies])
    return EnteredNow(int(text), records, tuple(dict.fromkeys(row.said for row in said)))


def sheet_page(
    request: Request[Any, Any, Any],
    template: str,
    asked: Asked,
    rows: Sequence[Row],
    *,
    problem: Problem | None,
    **values: Any,
) -> Response[bytes]:
    """The page with its list as typed, and of each ball what stands against it; those first that something stands against."""
    where = "" if problem is None else field_of(problem.where)
    return page(
        request,
        f"shipments/{template}",
        status=200 if problem is None else problem.status,
        headers={"cache-control": "no-store"},
        typed=asked.typed,
        list_text="\n".join(asked.scans),
        rows=sorted(rows, key=lambda row: row.fits),
        fit=sum(row.fits for row in rows),
        problem=problem,
        wrong=BALLS if where.startswith("units") else where,
        key=asked.typed.text("key") or new_key(),
        most=MOST,
        at=now_text(parts_of(request)),
        see_entries=may_do(request, "entries"),
        **values,
    )


async def enter(
    request: Request[Any, Any, Any],
    asked: Asked,
    page_of: str,
    make: Making,
    again: Callable[[Problem], Awaitable[Response[bytes]]],
) -> Response[bytes]:
    """Say what a form says, and lead back to its page at ``page_of``, which tells it; ``again`` shows it refused.

    The field ``moment`` has the instant where it was not now.
    """
    typed = asked.typed
    try:
        done = await say(request, typed.text("key"), typed.instant("moment") or typed.text("at"), make)
    except LedgerError as error:
        if status_of(error) >= 500:
            raise
        return await again(problem_of(error, page_of).problem)
    return see_other(with_query(page_of, **{DONE: str(done.index)}))


def without_misfits(asked: Asked, rows: Sequence[Row]) -> Asked:
    """The same with the balls alone that nothing stands against."""
    kept = {row.ball.text for row in rows if row.fits}
    return Asked(asked.typed, tuple(scan for scan in dict.fromkeys(asked.scans) if scan in kept))
