"""Approval files: the list, one with what is missing and in the way, and the steps whose record is worked out here.

Each step is one entry, and the same key gives the same entry again.  The rest about a file is said as it is (POST
/submissions): opened, an item answered, handed over, answered by the body, a change reported, withdrawn, opened again.
"""

from collections.abc import Callable
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_body, read_query
from ledger.access.tokens import Account
from ledger.application.approval_files import CAUTION, ApprovalSeen, ApprovalView, approval_view, approvals_of
from ledger.application.approving import (
    GRADES,
    MOST_LOTS,
    READY,
    Announce,
    ApprovalDesk,
    CandidatesAnswer,
    Replace,
    candidates_answer,
)
from ledger.application.pourbook import Pourbook
from ledger.errors import Contradiction
from ledger.line.approval_samples import Balls, PassedOver, Ready
from ledger.line.moulding import WeightClass
from ledger.line.record import Address, Id, Slug
from ledger.line.releases import Grade
from ledger.store.reader import open_reader

_PROBLEMS = (404, 409, 422, 503)


class ClassWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How many balls of a class are to be drawn."""

    weight_class: WeightClass
    balls: Balls


class AnnouncementWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is announced: balls by class, out of these shell lots (left out: every one of the model and revision).

    ``why``: wanted where samples were announced before.
    """

    classes: Annotated[tuple[ClassWanted, ...], Meta(min_length=1, max_length=13)]
    lots: Annotated[tuple[Id, ...], Meta(max_length=MOST_LOTS)] = ()
    states: Annotated[tuple[Ready, ...], Meta(min_length=1, max_length=2)] = READY
    grades: Annotated[tuple[Grade, ...], Meta(max_length=5)] = GRADES
    why: Slug | None = None


class ReplacementWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A sample that is to be replaced by the next in the order of the draw; ``passed_over``: balls before that one."""

    unit: Id
    reason: Slug
    passed_over: Annotated[tuple[PassedOver, ...], Meta(max_length=200)] = ()


class FreezeWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Every item of the checklist that is left open."""

    left_open: Annotated[tuple[Slug, ...], Meta(max_length=100)] = ()


class SignatureWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The freeze that is signed, in the words that the file gives (``sign``)."""

    freeze: Address


class CandidatesQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One shell lot, state and grade alone; left out, every lot of the model and revision, engraved or released, first
    quality or prototype.
    """

    lot: Id | None = None
    state: Ready | None = None
    grade: Grade | None = None


class ApprovalStep(msgspec.Struct, frozen=True, kw_only=True):
    """The entry that was made: the addresses of its facts, and its receipt. ``repeated``: this key had made it."""

    file: str
    entry: int
    facts: tuple[str, ...]
    recorded_at: str
    receipt: str
    repeated: bool
    caution: str = CAUTION


class Approvals(msgspec.Struct, frozen=True, kw_only=True):
    """Every approval file, those worked on first."""

    approvals: tuple[ApprovalSeen, ...]
    caution: str = CAUTION


_ANNOUNCEMENT = msgspec.json.Decoder(AnnouncementWanted)
_REPLACEMENT = msgspec.json.Decoder(ReplacementWanted)
_FREEZE = msgspec.json.Decoder(FreezeWanted)
_SIGNATURE = msgspec.json.Decoder(SignatureWanted)


def _step(summary: str, body: Any = None) -> dict[str, Any]:
    return described(
        Operation(
            summary,
            "approvals",
            action="approval-work",
            body=body,
            answer=ApprovalStep,
            keyed=True,
            problems=_PROBLEMS,
            status=201,
        )
    )


class ApprovalRoutes(Controller):
    """A model's balls and evidence for a governing body."""

    path = "/approvals"

    @get(opt=described(Operation("Every approval file", "approvals", action="approvals", answer=Approvals)))
    async def approvals(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """How far each is, in a sentence; those worked on first."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_approvals, parts.book))

    @get(
        "/{file:str}",
        opt=described(
            Operation(
                "One approval file: what is missing, what stands in the way, what changed since it was frozen",
                "approvals",
                action="approvals",
                answer=ApprovalView,
                problems=(404,),
            )
        ),
    )
    async def approval(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """Live: what is measured or answered now counts now."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_approval, parts.book, file))

    @get(
        "/{file:str}/candidates",
        opt=described(
            Operation(
                "What could be drawn of a file now, by lot and class",
                "approvals",
                action="approvals",
                query=CandidatesQuery,
                answer=CandidatesAnswer,
                problems=(404, 422),
            )
        ),
    )
    async def candidates(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """Counts and roots as an announcement would state them; nothing is entered."""
        asked, parts = read_query(request, CandidatesQuery), parts_of(request)
        lots = () if asked.lot is None else (asked.lot,)
        states = READY if asked.state is None else (asked.state,)
        grades = GRADES if asked.grade is None else (asked.grade,)
        wanted = Announce({}, lots, states, grades)
        return json_answer(await parts.long_read(_candidates, parts.book, file, wanted))

    @post(
        "/{file:str}/announcements",
        opt=_step("Announce samples, out of every candidate there is", AnnouncementWanted),
    )
    async def announce(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """The list of candidates is stored, its counts and roots entered; the entry gives the seed of the draw."""
        wanted = await read_body(request, _ANNOUNCEMENT)
        balls: dict[int, int] = {}
        for place, one in enumerate(wanted.classes):
            if one.weight_class in balls:
                raise Contradiction(
                    f"{one.weight_class} lb is named twice",
                    where=f"classes[{place}].weight_class",
                    mend="name each class once",
                )
            balls[one.weight_class] = one.balls
        announced = Announce(balls, wanted.lots, wanted.states, wanted.grades, wanted.why)
        return await _done(request, file, lambda desk, key, account: desk.announce(file, announced, key, account))

    @post("/{file:str}/draws", opt=_step("Draw what was announced"))
    async def draw(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """By the seed that the announcement's entry gives: nobody picks, and anyone can work it out again."""
        return await _done(request, file, lambda desk, key, account: desk.draw(file, key, account))

    @post("/{file:str}/replacements", opt=_step("Replace a sample by the next of the draw", ReplacementWanted))
    async def replace(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """The replaced ball stays on the file with its reason."""
        wanted = await read_body(request, _REPLACEMENT)
        over = {one.unit: one.reason for one in wanted.passed_over}
        replace = Replace(wanted.unit, wanted.reason, over)
        return await _done(request, file, lambda desk, key, account: desk.replace(file, replace, key, account))

    @post("/{file:str}/freezes", opt=_step("Freeze a file as it stands", FreezeWanted))
    async def freeze(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """What it rests on is stored as a document, whose digest is what two people sign."""
        left = (await read_body(request, _FREEZE)).left_open
        return await _done(request, file, lambda desk, key, account: desk.freeze(file, left, key, account))

    @post("/{file:str}/signatures", opt=_step("Sign what was frozen, in the file's own words", SignatureWanted))
    async def sign(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """Two people sign, neither of whom froze it."""
        freeze = (await read_body(request, _SIGNATURE)).freeze
        return await _done(request, file, lambda desk, key, account: desk.sign(file, freeze, key, account))


async def _done(
    request: Request[Any, Any, Any], file: str, act: Callable[[ApprovalDesk, str, Account], Any]
) -> Response[bytes]:
    """The answer to a step: what it enters is found on a thread, a few at a time."""
    key, account, parts = idempotency_key(request), account_of(request), parts_of(request)
    waiting = await parts.long_read(_acted, parts.book, act, key, account)
    entered = await parts.entered(waiting)
    done = ApprovalStep(
        file=file,
        entry=entered.index,
        facts=entered.addresses,
        recorded_at=entered.recorded_at,
        receipt=entered.receipt,
        repeated=entered.repeated,
    )
    return json_answer(done, status=200 if entered.repeated else 201)


def _approvals(book: Pourbook) -> Approvals:
    with open_reader(book.store) as reader:
        return Approvals(approvals=approvals_of(reader))


def _approval(book: Pourbook, file: str) -> ApprovalView:
    with open_reader(book.store) as reader:
        return approval_view(reader, file)


def _candidates(book: Pourbook, file: str, wanted: Announce) -> CandidatesAnswer:
    with open_reader(book.store) as reader:
        return candidates_answer(reader, file, wanted)


def _acted(book: Pourbook, act: Callable[[ApprovalDesk, str, Account], Any], key: str, account: Account) -> Any:
    return act(ApprovalDesk(book), key, account)
