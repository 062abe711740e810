"""What a suspect touches, and opening a case with its holds: the second of two clicks from a lot to a hold."""

import asyncio
import secrets
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get, post

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.containment.acting import act_on_case, reason_of
from api.pages.containment.suspects import FIELDS, IN_FORM, SORTS, address_of, suspect_from
from api.pages.desk.forms import (
    Fault,
    Typed,
    fault_of,
    fresh_key,
    key_of,
    may_say,
    now_text,
    record_of,
    today_of,
    typed_in,
)
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.application.case_desk import STOPS, Order
from ledger.application.case_view import CaseSeen, cases_of
from ledger.application.containment import SuspectAnswer, suspect_answer
from ledger.errors import LedgerError
from ledger.line.cases import CaseOpened
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader

CASE_FIELDS = ("case", "why", "reason", "order", "whole_lots")


class SuspectPages(Controller):
    """Suspect and contain."""

    path = "/containment"

    @get(opt=described(Operation("What a suspect touches", "pages", action="cases", media=HTML, page=True)))
    async def suspect(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The choice of a suspect, or of one what lies below it: counts by ``part`` or ``whole``, and the form of a case."""
        typed = Typed({name: str(request.query_params.get(name, "")).strip() for name in FIELDS})
        try:
            suspect = suspect_from(typed, catalogue_of(request)) if typed["sort"] else None
            if "part" in request.query_params and suspect is not None:
                return page(request, "containment/counts.html", seen=await _seen(parts_of(request), suspect))
            return await _page(request, typed, suspect, whole="whole" in request.query_params)
        except LedgerError as error:
            if "part" in request.query_params:
                raise
            return await _page(request, typed, None, fault=fault_of(request, error, IN_FORM))

    @post(
        status_code=303,
        opt=described(
            Operation("Open a case, and hold what is suspect", "pages", action="contain", media=HTML, page=True)
        ),
    )
    async def opened(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A case and, unless nothing is ordered, its action with the holds, in one entry."""
        form = await read_form(request)
        typed = typed_in(form, (*FIELDS, *CASE_FIELDS))
        suspect = None
        try:
            suspect = suspect_from(typed, catalogue_of(request))
            opening = _opening(request, typed, suspect)
            order = None if typed["order"] == "none" else _order(form, typed)
            fresh = await act_on_case(
                request, key_of(form), lambda desk, key, account: desk.open(opening, order, key, account)
            )
        except LedgerError as error:
            return await _page(request, typed, suspect, form=form, fault=fault_of(request, error, IN_FORM))
        return see_other(f"/containment/case/{opening.case}?note={'opened' if fresh else 'again'}")


def _opening(request: Request[Any, Any, Any], typed: Typed, suspect: Suspect) -> CaseOpened:
    said = {"case": typed["case"].upper(), "why": typed["why"], "reason": reason_of(typed["reason"])}
    return record_of(CaseOpened, {**said, "at": now_text(request), "suspect": msgspec.to_builtins(suspect)})


def _order(form: Form, typed: Typed) -> Order:
    asked: dict[str, Any] = {"action": typed["order"], "stops": form.every("stops") or STOPS}
    return Order(**asked, whole_lots=typed["whole_lots"] == "yes")


async def _seen(parts: Parts, suspect: Suspect) -> SuspectAnswer:
    """The counts; what else is affected must not wait for a dossier."""
    if parts.long_reads.is_free:
        return msgspec.json.decode(await parts.long_answer(suspect_answer, suspect), type=SuspectAnswer)
    return await parts.long_read(_counted, parts, suspect)


def _counted(parts: Parts, suspect: Suspect) -> SuspectAnswer:
    with open_reader(parts.book.store) as reader:
        return suspect_answer(reader, suspect)


async def _page(
    request: Request[Any, Any, Any],
    typed: Typed,
    suspect: Suspect | None,
    *,
    form: Form | None = None,
    fault: Fault | None = None,
    whole: bool = False,
) -> Response[bytes]:
    parts = parts_of(request)
    shown = Typed(typed)
    shown["case"] = typed["case"] or f"CASE-{today_of(request):%y%m%d}-{secrets.token_hex(2).upper()}"
    return page(
        request,
        "containment/suspect.html",
        status=200 if fault is None else fault.problem.status,
        typed=shown,
        suspect=suspect,
        seen=await _seen(parts, suspect) if whole and suspect is not None else None,
        address=address_of(typed),
        sorts=SORTS,
        stops=STOPS if form is None else form.every("stops"),
        cases=[] if suspect is not None else await asyncio.to_thread(_open_cases, parts),
        fault=fault,
        key=fresh_key() if form is None else form.text("key"),
        may_contain=may_say(request, "case-opened"),
    )


def _open_cases(parts: Parts) -> list[CaseSeen]:
    with open_reader(parts.book.store) as reader:
        return [case for case in cases_of(reader) if case.open]
