"""The cases, and one case: what is ordered and held, who was written to, and its balls added up to the last one."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.author_names import author_values
from api.pages.desk.forms import Fault, Typed, fresh_key, may_say, note_in
from api.pages.page import page
from api.parts import Parts, parts_of
from ledger.application.case_desk import STOPS
from ledger.application.case_view import (
    CaseHoldSeen,
    CaseSeen,
    CaseView,
    NoticeSeen,
    case_holds,
    case_view,
    cases_of,
    notices_of,
)
from ledger.application.histories import Told, history_of
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from ledger.warranty.notice_letter import CAUTION

NOTHING = Typed()
NOTES = {
    "opened": "",
    "ordered": "case-ordered",
    "written": "case-noticed",
    "lifted": "case-ordered",
    "closed": "case-closed",
    "answered": "case-answered",
}
"""What may be told on the page, and the kind of record on which it rests."""


class CaseSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A case as far as it is told without going through its balls."""

    case: CaseSeen
    holds: tuple[CaseHoldSeen, ...]
    notices: tuple[NoticeSeen, ...]
    history: tuple[Told, ...]


class CasePages(Controller):
    """Cases as they stand."""

    path = "/containment"

    @get("/cases", opt=described(Operation("Cases", "pages", action="cases", media=HTML, page=True)))
    async def cases(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every case, the open ones first."""
        parts = parts_of(request)
        return page(request, "containment/cases.html", cases=await parts.long_read(_cases, parts))

    @get("/case/{case:str}", opt=described(Operation("A case", "pages", action="cases", media=HTML, page=True)))
    async def case(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """The page; with ``part`` its balls added up, alone."""
        asked = request.query_params
        if "part" in asked:
            return page(request, "containment/case-sum.html", seen=await _summed(request, case))
        return await show_case(request, case, whole="whole" in asked)


async def show_case(
    request: Request[Any, Any, Any],
    case: str,
    *,
    form: str = "",
    typed: Typed = NOTHING,
    fault: Fault | None = None,
    whole: bool = False,
    **values: Any,
) -> Response[bytes]:
    """The page of a case. ``form``: which of its forms is shown again with what was ``typed``. Raises NotFound."""
    said = await asyncio.to_thread(_said, parts_of(request), case)
    authors = await asyncio.to_thread(author_values, parts_of(request).book.store)
    seen = said.case
    contains = may_say(request, "case-ordered") and seen.open
    return page(
        request,
        "containment/case.html",
        status=200 if fault is None else fault.problem.status,
        **{
            "said": said,
            "case": seen,
            "form": form,
            "typed": typed,
            "fault": fault,
            "key": fresh_key(),
            "note": note_in(request, NOTES, {told.kind for told in said.history if told.standing}),
            "seen": await _summed(request, case) if whole else None,
            "may_order": contains and seen.action != "recall",
            "may_lift": may_say(request, "hold-lifted") and seen.open_holds > 0,
            "waits_for_second": any(hold.lifted_by_one for hold in said.holds),
            "may_write": contains and seen.action != "none",
            "may_close": contains and seen.open_holds == 0,
            "may_answer": seen.open and may_do(request, "case-answers"),
            "stops": STOPS,
            "caution": CAUTION,
            **authors,
            **values,
        },
    )


async def _summed(request: Request[Any, Any, Any], case: str) -> CaseView:
    return msgspec.json.decode(await parts_of(request).long_answer(case_view, case), type=CaseView)


def _cases(parts: Parts) -> tuple[CaseSeen, ...]:
    with open_reader(parts.book.store) as reader:
        return cases_of(reader)


def _said(parts: Parts, case: str) -> CaseSaid:
    with open_reader(parts.book.store) as reader:
        seen = next((one for one in cases_of(reader) if one.case == case), None)
        if seen is None:
            raise NotFound(f"case {case} is not in the book", where="case", mend="look at the list of cases")
        return CaseSaid(
            case=seen,
            holds=tuple(
                CaseHoldSeen(
                    hold=one.hold,
                    node=one.node,
                    rule=one.rule,
                    open=one.open,
                    recall=one.recall,
                    lifted_by_one=one.open and bool(one.lifted_by),
                )
                for one in case_holds(reader, case)
            ),
            notices=notices_of(reader, case),
            history=history_of(reader, [f"case:{case}"]),
        )
