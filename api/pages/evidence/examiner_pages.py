"""The outside auditor's own pages: the parts that are open now, their balls, one ball, verdicts, and the dossier.

Each page of a part is a look, which is entered before the page is shown.
"""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from litestar.response import Stream

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.page import page
from api.parts import Parts, parts_of
from api.routes.examining import look, part_dossier
from ledger.access.tokens import Account
from ledger.application.adopted_files import rulebooks_here
from ledger.application.examined_lots import part_lot
from ledger.application.examining import ExaminationSeen, examinations, part_ball, part_balls, part_judged
from ledger.evidence.files import verify_page_digest
from ledger.line.quantity import UNITS
from ledger.store.reader import open_reader


class ExaminerPages(Controller):
    """For who is from outside."""

    path = "/examination"

    @get(opt=described(Operation("Your examinations", "pages", action="examine", media=HTML, page=True)))
    async def own(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What was granted, and until when."""
        seen, _ = await asyncio.to_thread(_own, parts_of(request), account_of(request))
        return page(request, "evidence/examiner.html", rows=seen)

    @get(
        "/{examination:str}",
        opt=described(Operation("Balls of an examination", "pages", action="examine", media=HTML, page=True)),
    )
    async def balls(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """The next 500 balls of the part."""
        after = str(request.query_params.get("after", ""))[:40]
        seen = await look(request, examination, "balls", lambda reader, part: part_balls(reader, part, after))
        own, editions = await asyncio.to_thread(_own, parts_of(request), account_of(request))
        one = next(row for row in own if row.examination == seen.examination)
        return page(
            request,
            "evidence/examined-balls.html",
            seen=seen,
            one=one,
            editions=editions,
            verifier_digest=verify_page_digest(),
        )

    @get(
        "/{examination:str}/ball/{unit:str}",
        opt=described(Operation("A ball of an examination", "pages", action="examine", media=HTML, page=True)),
    )
    async def ball(
        self, request: Request[Any, Any, Any], examination: FromPath[str], unit: FromPath[str]
    ) -> Response[bytes]:
        """One ball, without claims."""
        ball = await look(request, examination, "ball", lambda reader, part: part_ball(reader, part, unit))
        return page(
            request,
            "evidence/examined-ball.html",
            ball=ball,
            examination=examination,
            printed=lambda unit: UNITS[unit].printed if unit in UNITS else unit,
        )

    @get(
        "/{examination:str}/lot/{lot:str}",
        opt=described(Operation("A lot of an examination", "pages", action="examine", media=HTML, page=True)),
    )
    async def lot(
        self, request: Request[Any, Any, Any], examination: FromPath[str], lot: FromPath[str]
    ) -> Response[bytes]:
        """One lot that the grant names."""
        seen = await look(request, examination, "lot", lambda reader, part: part_lot(reader, part, lot))
        return page(
            request,
            "evidence/examined-lot.html",
            seen=seen,
            printed=lambda unit: UNITS[unit].printed if unit in UNITS else unit,
        )

    @get(
        "/{examination:str}/verdicts",
        opt=described(Operation("Verdicts of an examination", "pages", action="examine", media=HTML, page=True)),
    )
    async def verdicts(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """The next 500 balls judged by one edition."""
        asked = request.query_params
        rulebook, after = str(asked.get("rulebook", ""))[:80], str(asked.get("after", ""))[:40]
        found = await look(
            request, examination, "conformity", lambda reader, part: part_judged(reader, part, rulebook, after)
        )
        return page(request, "evidence/examined-verdicts.html", found=found)

    @post(
        "/{examination:str}/dossier",
        status_code=200,
        opt=described(Operation("The dossier of an examination", "pages", action="examine", media=HTML, page=True)),
    )
    async def dossier(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Stream:
        """Exactly the part, as a file."""
        return await part_dossier(request, examination)


def _own(parts: Parts, account: Account) -> tuple[tuple[ExaminationSeen, ...], list[tuple[str, str]]]:
    """An account's grants, and the editions to judge by: those that the plant adopted first."""
    with open_reader(parts.book.store) as reader:
        here = rulebooks_here(reader)
        editions = sorted(here.editions, key=lambda edition: edition.rulebook.id not in here.adopted)
        named = [(edition.rulebook.id, f"{edition.rulebook.title} ({edition.rulebook.id})") for edition in editions]
        return examinations(reader, account), named
