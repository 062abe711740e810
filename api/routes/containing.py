"""The cases, and acting on a suspect: a case opened, its action ordered with its holds, holds lifted, letters made, answers taken.

Each is one entry (answers: one for each few hundred), and the same key gives the same entry again.  A case is closed by
saying ``case-closed`` (POST /submissions).
"""

from collections.abc import Callable
from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import UNSET, Meta, UnsetType

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import decode_body, idempotency_key, read_body, read_bytes, read_query
from ledger.access.tokens import Account
from ledger.application.case_answer_lines import AnswerLine, AnswersTaken, read_answers, take_answers
from ledger.application.case_desk import STOPS, CaseDesk, Order
from ledger.application.case_view import CaseSeen, cases_of
from ledger.application.pourbook import Pourbook
from ledger.book.instant import Instant, format_instant
from ledger.errors import MalformedInput
from ledger.line.case_answers import BallAnswer
from ledger.line.cases import Action, CaseId, CaseOpened
from ledger.line.holds import Stop
from ledger.line.record import At, Id, Slug
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader
from ledger.warranty.notice_letter import CAUTION

CSV, JSON = "text/csv", "application/json"

_PROBLEMS = (404, 409, 413, 422, 503)


class OrderWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An action over all below the suspect, certain and possible: its holds are placed in the same entry, or none is.

    ``stops``: what the holds stop.  ``whole_lots``: hold every lot with a suspect ball whole, where single balls are too
    many for one entry.
    """

    action: Action
    stops: Annotated[tuple[Stop, ...], Meta(min_length=1, max_length=4)] = STOPS
    whole_lots: bool = False


class CaseWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A case to open, and with ``order`` an action at once. ``at``: when it was suspected, by default now."""

    case: CaseId
    why: Literal["signal", "found", "supplier", "other"]
    reason: Slug
    suspect: Suspect
    at: At | None = None
    order: OrderWanted | None = None


class LiftWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Why the holds of a case end."""

    reason: Slug


class LettersWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who is written to; left out, every consignee of the register that holds a ball of the case."""

    consignees: Annotated[tuple[Id, ...], Meta(max_length=500)] = ()


class AnswersWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one consignee answers, ball by ball."""

    consignee: Id
    answers: Annotated[tuple[BallAnswer, ...], Meta(min_length=1, max_length=50_000)]


class AnsweredBy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who answers, where the file has no column ``consignee``."""

    consignee: Id | None = None


class Contained(msgspec.Struct, frozen=True, kw_only=True):
    """The entry that was made: the addresses of its facts, and its receipt. ``repeated``: this key had made it."""

    case: str
    entry: int
    facts: tuple[str, ...]
    recorded_at: str
    receipt: str
    repeated: bool
    caution: str = CAUTION


class Cases(msgspec.Struct, frozen=True, kw_only=True):
    """Every case, the open ones first. ``caution``: about the letters of a case."""

    cases: tuple[CaseSeen, ...]
    caution: str = CAUTION


_CASE = msgspec.json.Decoder(CaseWanted)
_ORDER = msgspec.json.Decoder(OrderWanted)
_LIFT = msgspec.json.Decoder(LiftWanted)
_LETTERS = msgspec.json.Decoder(LettersWanted)
_ANSWERS = msgspec.json.Decoder(AnswersWanted)


class ContainingRoutes(Controller):
    """What is done about a suspect."""

    path = "/cases"

    @get(opt=described(Operation("Every case", "containment", action="cases", answer=Cases)))
    async def cases(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Suspect, action and holds of each; the open ones first."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_cases, parts.book))

    @post(
        opt=described(
            Operation(
                "Open a case on a suspect, and order its action with its holds in the same entry",
                "containment",
                action="contain",
                body=CaseWanted,
                answer=Contained,
                keyed=True,
                problems=_PROBLEMS,
                status=201,
            )
        ),
    )
    async def open(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """201, or 200 with the same entry where the key was used for this case."""
        wanted = await read_body(request, _CASE)
        now = format_instant(Instant(parts_of(request).book.clock_ms(), 0))
        opening = CaseOpened(
            at=wanted.at or now, case=wanted.case, why=wanted.why, reason=wanted.reason, suspect=wanted.suspect
        )
        order = None if wanted.order is None else _order(wanted.order)
        return await _done(request, wanted.case, lambda desk, key, account: desk.open(opening, order, key, account))

    @post(
        "/{case:str}/orders",
        opt=described(
            Operation(
                "Order a stop of sale or a recall, and place its holds in the same entry",
                "containment",
                action="contain",
                body=OrderWanted,
                answer=Contained,
                keyed=True,
                problems=_PROBLEMS,
                status=201,
            )
        ),
    )
    async def order(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """A recall may follow a stop of sale, and not the other way round."""
        order = _order(await read_body(request, _ORDER))
        return await _done(request, case, lambda desk, key, account: desk.order(case, order, key, account))

    @post(
        "/{case:str}/lift",
        opt=described(
            Operation(
                "Lift every hold of a case that stands, in one entry; a recall takes two people",
                "containment",
                action="contain",
                body=LiftWanted,
                answer=Contained,
                keyed=True,
                problems=_PROBLEMS,
                status=201,
            )
        ),
    )
    async def lift(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """The holds of a recall go on until the second person has lifted them too."""
        reason = (await read_body(request, _LIFT)).reason
        return await _done(request, case, lambda desk, key, account: desk.lift(case, reason, key, account))

    @post(
        "/{case:str}/letters",
        opt=described(
            Operation(
                "Make the letters of a case, store them, and say that they were made",
                "containment",
                action="contain",
                body=LettersWanted,
                answer=Contained,
                keyed=True,
                problems=_PROBLEMS,
                status=201,
            )
        ),
    )
    async def letters(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """One for each consignee; its file is read under the case (letters/{consignee}.pdf)."""
        chosen = (await read_body(request, _LETTERS)).consignees
        return await _done(request, case, lambda desk, key, account: desk.write_letters(case, chosen, key, account))

    @post(
        "/{case:str}/answers",
        status_code=200,
        opt=described(
            Operation(
                "Enter what consignees answer: JSON of one, or the notice list filled in (text/csv)",
                "containment",
                action="case-answers",
                body=AnswersWanted,
                query=AnsweredBy,
                answer=AnswersTaken,
                keyed=True,
                problems=_PROBLEMS,
            )
        ),
    )
    async def answers(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """Each line is accepted, or refused with its reason."""
        key, asked = idempotency_key(request), read_query(request, AnsweredBy)
        parts, account = parts_of(request), account_of(request)
        media_type = request.headers.get("content-type", "").split(";", 1)[0].strip().lower()
        raw = await read_bytes(request, parts.settings.body_limit)
        if media_type == CSV:
            lines = read_answers(raw, asked.consignee or "")
        elif media_type == JSON:
            lines = _lines(decode_body(raw, _ANSWERS))
        else:
            raise MalformedInput(
                "answers are of another type", expected=f"{JSON} or {CSV}", got=media_type, where="Content-Type"
            )
        return json_answer(await parts.long_read(take_answers, parts.book, case, lines, key, account))


def _order(wanted: OrderWanted) -> Order:
    return Order(wanted.action, wanted.stops, wanted.whole_lots)


def _lines(wanted: AnswersWanted) -> list[AnswerLine]:
    return [
        AnswerLine(number, wanted.consignee, _text(one.unit), _text(one.serial), one.said, _text(one.to))
        for number, one in enumerate(wanted.answers, 1)
    ]


def _text(value: str | UnsetType) -> str:
    return "" if value is UNSET else value


async def _done(
    request: Request[Any, Any, Any], case: str, act: Callable[[CaseDesk, str, Account], Any]
) -> Response[bytes]:
    """The answer to an act: what it enters is found on a thread, a few at a time."""
    key, account, parts = idempotency_key(request), account_of(request), parts_of(request)
    waiting = await parts.long_read(_acted, parts.book, act, key, account)
    entered = await parts.entered(waiting)
    done = Contained(
        case=case,
        entry=entered.index,
        facts=entered.addresses,
        recorded_at=entered.recorded_at,
        receipt=entered.receipt,
        repeated=entered.repeated,
    )
    return json_answer(done, status=200 if entered.repeated else 201)


def _cases(book: Pourbook) -> Cases:
    with open_reader(book.store) as reader:
        return Cases(cases=cases_of(reader))


def _acted(book: Pourbook, act: Callable[[CaseDesk, str, Account], Any], key: str, account: Account) -> Any:
    return act(CaseDesk(book), key, account)
