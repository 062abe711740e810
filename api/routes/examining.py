"""Examinations: what an outside auditor may look at, and what was looked at. Every answer to one is an entry of the book."""

import asyncio
from collections.abc import Callable
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from litestar.response import Stream
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.pages.stations.answers import now_text
from api.parts import Parts, json_answer, parts_of
from api.request_body import read_query
from api.routes.dossiers import MEDIA_TYPE, dossier_answer
from ledger.application.ball_view import Ball
from ledger.application.dossier_wanted import DossierWanted
from ledger.application.examined_lots import PartLot, part_lot
from ledger.application.examining import (
    ExaminationSeen,
    ExaminationWhole,
    PartJudged,
    PartSeen,
    examination_whole,
    examinations,
    look_at,
    open_part,
    part_ball,
    part_balls,
    part_judged,
    part_serials,
)
from ledger.line.examination_rows import Examination
from ledger.store.reader import Reader, open_reader

_encode = msgspec.json.Encoder().encode

Place = Annotated[str, Meta(max_length=40)]


class Examinations(msgspec.Struct, frozen=True, kw_only=True):
    """Grants, the one that ends last first."""

    examinations: tuple[ExaminationSeen, ...]


class After(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The unit behind which the list goes on."""

    after: Place = ""


class JudgedAfter(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rulebook edition, and the unit behind which the list goes on."""

    rulebook: Annotated[str, Meta(min_length=1, max_length=80)]
    after: Place = ""


class ExaminationRoutes(Controller):
    """The auditor's way in, and the plant's view of it."""

    path = "/examinations"

    @get(
        opt=described(
            Operation("Every grant to an outside auditor", "evidence", action="examinations", answer=Examinations)
        ),
    )
    async def every(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """All grants, for the plant."""
        return json_answer(Examinations(examinations=await _ask(parts_of(request), examinations)))

    @get(
        "/own",
        opt=described(Operation("The grants of who asks", "evidence", action="examine", answer=Examinations)),
    )
    async def own(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The auditor's own grants; looking at this list is no look at the book."""
        account = account_of(request)
        found = await _ask(parts_of(request), lambda reader: examinations(reader, account))
        return json_answer(Examinations(examinations=found))

    @get(
        "/{examination:str}",
        opt=described(
            Operation(
                "A grant and everything that was looked at under it",
                "evidence",
                action="examinations",
                answer=ExaminationWhole,
                problems=(404,),
            )
        ),
    )
    async def whole(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """One grant, for the plant."""
        return json_answer(await _ask(parts_of(request), lambda reader: examination_whole(reader, examination)))

    @get(
        "/{examination:str}/balls",
        opt=described(
            Operation(
                "The balls of a granted part",
                "evidence",
                action="examine",
                query=After,
                answer=PartSeen,
                problems=(404, 422),
            )
        ),
    )
    async def balls(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """The next 500 balls."""
        after = read_query(request, After).after
        part, seen = await _part(request, examination, lambda reader, part: part_balls(reader, part, after))
        return await _shown(request, part, seen, "balls", named=(after,), balls=len(seen.balls))

    @get(
        "/{examination:str}/balls/{unit:str}",
        opt=described(
            Operation(
                "One ball of a granted part, without claims",
                "evidence",
                action="examine",
                answer=Ball,
                problems=(404, 422),
            )
        ),
    )
    async def ball(
        self, request: Request[Any, Any, Any], examination: FromPath[str], unit: FromPath[str]
    ) -> Response[bytes]:
        """One ball."""
        part, ball = await _part(request, examination, lambda reader, part: part_ball(reader, part, unit))
        return await _shown(request, part, ball, "ball", named=(unit,), balls=1)

    @get(
        "/{examination:str}/lots/{lot:str}",
        opt=described(
            Operation(
                "One lot that a grant names, with the lots that it was made from",
                "evidence",
                action="examine",
                answer=PartLot,
                problems=(404, 422),
            )
        ),
    )
    async def lot(
        self, request: Request[Any, Any, Any], examination: FromPath[str], lot: FromPath[str]
    ) -> Response[bytes]:
        """One lot itself."""
        part, found = await _part(request, examination, lambda reader, part: part_lot(reader, part, lot))
        return await _shown(request, part, found, "lot", named=(lot,), balls=0)

    @get(
        "/{examination:str}/conformity",
        opt=described(
            Operation(
                "Balls of a granted part, judged by a rulebook",
                "evidence",
                action="examine",
                query=JudgedAfter,
                answer=PartJudged,
                problems=(404, 422),
            )
        ),
    )
    async def conformity(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """The next 500 balls and how they come out."""
        asked = read_query(request, JudgedAfter)
        part, found = await _part(
            request, examination, lambda reader, part: part_judged(reader, part, asked.rulebook, asked.after)
        )
        return await _shown(
            request, part, found, "conformity", named=(asked.rulebook, asked.after), balls=len(found.balls)
        )

    @post(
        "/{examination:str}/dossier",
        status_code=200,
        opt=described(
            Operation(
                "The dossier of a granted part, as a zip file",
                "evidence",
                action="examine",
                media=MEDIA_TYPE,
                problems=(404, 413, 422),
            )
        ),
    )
    async def dossier(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Stream:
        """Enter that it is taken along, write it, and send it in pieces."""
        return await part_dossier(request, examination)


async def part_dossier(request: Request[Any, Any, Any], examination: str) -> Stream:
    """The dossier of exactly the granted part, what the grant withholds left closed."""
    part, serials = await _part(request, examination, part_serials)
    await enter_look(request, part, "dossier", len(serials))
    withheld = tuple(part.withheld.split(",")) if part.withheld else ()
    wanted = DossierWanted(serials=tuple(serials), withhold=withheld)
    return await dossier_answer(request, wanted, f"examination-{part.examination}")


async def look(
    request: Request[Any, Any, Any], examination: str, question: str, find: Callable[[Reader, Examination], Any]
) -> Any:
    """An answer within a grant, once the look is entered: for pages, which show it in their own form."""
    part, found = await _part(request, examination, find)
    balls, named = _shows(found)
    await enter_look(request, part, question, balls, named=named, answer=_encode(found))
    return found


def _shows(found: Any) -> tuple[int, tuple[str, ...]]:
    """How many balls an answer shows, and what it names."""
    if isinstance(found, PartSeen | PartJudged):
        return len(found.balls), ()
    return (0, (found.lot.lot,)) if isinstance(found, PartLot) else (1, (found.unit,))


async def enter_look(
    request: Request[Any, Any, Any],
    part: Examination,
    question: str,
    balls: int,
    *,
    named: tuple[str, ...] = (),
    answer: bytes | None = None,
) -> None:
    """Enter a look. Raises what refuses it, and then nothing is shown."""
    parts = parts_of(request)
    submission = look_at(part, question, now_text(parts), balls, named=named, answer=answer)
    await parts.submit(submission, account_of(request))


async def _part(
    request: Request[Any, Any, Any], examination: str, find: Callable[[Reader, Examination], Any]
) -> tuple[Examination, Any]:
    parts, account = parts_of(request), account_of(request)

    def found(reader: Reader) -> tuple[Examination, Any]:
        part = open_part(reader, examination, account, parts.book.clock_ms())
        return part, find(reader, part)

    return await parts.long_read(_with_reader, parts, found)


async def _shown(
    request: Request[Any, Any, Any], part: Examination, found: Any, question: str, *, named: tuple[str, ...], balls: int
) -> Response[bytes]:
    answer = _encode(found)
    await enter_look(request, part, question, balls, named=named, answer=answer)
    return json_answer(answer)


async def _ask(parts: Parts, find: Callable[[Reader], Any]) -> Any:
    return await asyncio.to_thread(_with_reader, parts, find)


def _with_reader(parts: Parts, find: Callable[[Reader], Any]) -> Any:
    with open_reader(parts.book.store) as reader:
        return find(reader)
