"""What consignees answer about the balls of a case, by phone ball by ball, or by the notice list as it came back."""

from collections.abc import Mapping
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.datastructures import UploadFile
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.containment.case_page import show_case
from api.pages.desk.forms import Fault, Typed, fault_of, fresh_key, key_of, typed_in
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.application.case_answer_lines import AnswerLine, AnswersTaken, read_answers, take_answers
from ledger.application.case_holder import HolderInCase, holder_in_case
from ledger.errors import KeyReused, LedgerError, MalformedInput
from ledger.warranty.reconciliation import ANSWERS

AT_ONCE = 100
"""Balls of a consignee on one page."""


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="case-answers", media=HTML, page=True))


class CaseAnswers(Controller):
    """What consignees answer about the balls of a case."""

    path = "/containment/case/{case:str}/answers"

    @post(status_code=200, opt=_described("Take the answers of a notice list"))
    async def file(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """The list as it came back, filled in."""
        form = await read_form(request)
        sent = (await request.form()).get("file")
        raw = await sent.read() if isinstance(sent, UploadFile) else b""
        try:
            if not raw:
                raise MalformedInput("no file was chosen", expected="the notice list", where="file")
            taken = await _taken(request, case, read_answers(raw), key_of(form))
        except LedgerError as error:
            fault = fault_of(request, error, {"body": "file", "line 1": "file"})
            return await show_case(request, case, form="answers", fault=fault)
        return page(request, "containment/taken.html", case=case, taken=taken, status=422 if taken.refused else 200)

    @get("/{consignee:str}", opt=_described("What a consignee answers"))
    async def asked(
        self, request: Request[Any, Any, Any], case: FromPath[str], consignee: FromPath[str]
    ) -> Response[bytes]:
        """The balls that it holds, and the last answer about each."""
        start = str(request.query_params.get("start", "0"))
        return await _holder_page(request, case, consignee, int(start) if start.isdecimal() else 0)

    @post("/{consignee:str}", status_code=200, opt=_described("Enter what a consignee answers"))
    async def said(
        self, request: Request[Any, Any, Any], case: FromPath[str], consignee: FromPath[str]
    ) -> Response[bytes]:
        """Ball by ball; what is left without an answer stays unaccounted for."""
        form = await read_form(request)
        start = form.text("start")
        try:
            lines = _lines(form, consignee)
            _check_total(form.text("total"), lines)
            taken = await _taken(request, case, lines, key_of(form))
        except LedgerError as error:
            place = int(start) if start.isdecimal() else 0
            return await _holder_page(request, case, consignee, place, form=form, fault=fault_of(request, error))
        if not taken.refused and not taken.doubted:
            return see_other(f"/containment/case/{case}?note=answered")
        return page(request, "containment/taken.html", case=case, taken=taken, status=422 if taken.refused else 200)


async def _taken(request: Request[Any, Any, Any], case: str, lines: list[AnswerLine], key: str) -> AnswersTaken:
    parts = parts_of(request)
    try:
        return await parts.long_read(take_answers, parts.book, case, lines, key, account_of(request))
    except KeyReused as error:
        raise MalformedInput(
            "this form was sent before with other answers",
            where="key",
            mend="load the page again, then enter what is new",
        ) from error


def _lines(form: Form, consignee: str) -> list[AnswerLine]:
    """A line for each ball of the page; one without an answer of its own takes that of the rest, if there is one."""
    rest = form.text("rest")
    return [
        AnswerLine(
            number, consignee, unit, "", form.text(f"said:{unit}") or rest, form.text(f"to:{unit}").upper()
        )
        for number, unit in enumerate(form.every("unit"), 1)
    ]  # fmt: skip


def _check_total(total: str, lines: list[AnswerLine]) -> None:
    """Return if as many balls are answered for as the consignee says that there are. Raises MalformedInput."""
    answered = sum(bool(line.answer) for line in lines)
    if total and total != str(answered):
        raise MalformedInput(
            "answers do not add up",
            expected=f"{total} balls answered for",
            got=answered,
            where="total",
            mend="ask again for the ball that is missing or too much, or correct the total",
        )


async def _holder_page(
    request: Request[Any, Any, Any],
    case: str,
    consignee: str,
    start: int,
    *,
    form: Form | None = None,
    fault: Fault | None = None,
) -> Response[bytes]:
    raw = await parts_of(request).long_answer(holder_in_case, case, consignee, start, AT_ONCE)
    held = msgspec.json.decode(raw, type=HolderInCase)
    return page(
        request,
        "containment/answers.html",
        status=200 if fault is None else fault.problem.status,
        held=held,
        most=AT_ONCE,
        answers=ANSWERS,
        fault=fault,
        typed=_typed_answers(held, form),
        key=fresh_key() if form is None else form.text("key"),
    )


def _typed_answers(held: HolderInCase, form: Form | None) -> Mapping[str, str]:
    if form is None:
        return Typed()
    names = [f"{field}:{ball.unit}" for ball in held.balls for field in ("said", "to")]
    return typed_in(form, ("rest", "total", *names))
