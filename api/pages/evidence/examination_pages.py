"""The plant's view of outside auditors: what each may look at, until when, and everything that was looked at."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Fault, Typed, fault_of, fresh_key, key_of, may_say, now_text, record_of, say, typed_in
from api.pages.evidence.names import names_in
from api.pages.evidence.spans import day_span
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.application.examining import ExaminationSeen, ExaminationWhole, examination_whole, examinations
from ledger.errors import LedgerError
from ledger.line.examinations import ExaminationEnded, ExaminationGranted
from ledger.store.accounts import Account, list_accounts
from ledger.store.reader import open_reader

FIELDS = ("examination", "account", "from_on", "to_on", "models", "lots", "units", "made_from", "made_to")


class ExaminationPages(Controller):
    """Grants to outside auditors."""

    path = "/evidence"

    @get(
        "/examinations",
        opt=described(Operation("Outside auditors", "pages", action="examinations", media=HTML, page=True)),
    )
    async def every(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every grant, and the form of a new one."""
        return await _list(request)

    @post(
        "/examinations",
        status_code=303,
        opt=described(Operation("Grant an examination", "pages", action="examinations", media=HTML, page=True)),
    )
    async def granted(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new grant; days count whole, by the plant's wall clock."""
        form = await read_form(request)
        typed = typed_in(form, FIELDS)
        try:
            said = {
                "at": now_text(request),
                "examination": typed["examination"].upper(),
                "account": typed["account"],
                **day_span(request, typed, "from_on", "to_on", into=("from_at", "to_at")),
                **day_span(request, typed, "made_from", "made_to", into=("made_from", "made_to")),
                **{name: tuple(names_in(typed[name])) for name in ("models", "lots", "units")},
            }
            closed = form.every("withhold")
            record = record_of(ExaminationGranted, said)
            await say(request, key_of(form), _withholding(record, closed))
        except LedgerError as error:
            fields = {"from_at": "from_on", "to_at": "to_on"}
            return await _list(request, form=form, typed=typed, fault=fault_of(request, error, fields))
        return see_other(f"/evidence/examination/{said['examination']}")

    @get(
        "/examination/{examination:str}",
        opt=described(Operation("An examination", "pages", action="examinations", media=HTML, page=True)),
    )
    async def whole(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """What it opens, and what was looked at."""
        return await _one(request, examination)

    @post(
        "/examination/{examination:str}/end",
        status_code=303,
        opt=described(Operation("End an examination", "pages", action="examinations", media=HTML, page=True)),
    )
    async def ended(self, request: Request[Any, Any, Any], examination: FromPath[str]) -> Response[bytes]:
        """Before its time."""
        form = await read_form(request)
        said = {"at": now_text(request), "examination": examination, "reason": form.text("reason")}
        try:
            await say(request, key_of(form), record_of(ExaminationEnded, said))
        except LedgerError as error:
            return await _one(request, examination, fault_of(request, error))
        return see_other(f"/evidence/examination/{examination}")


def _withholding(record: ExaminationGranted, closed: tuple[str, ...]) -> ExaminationGranted:
    """The grant with the sealings that the form leaves closed; none is a choice too."""
    chosen = tuple(name for name in ("withheld", "erasable") if name in closed)
    return ExaminationGranted(
        **{name: getattr(record, name) for name in record.__struct_fields__ if name != "withhold"}, withhold=chosen
    )


async def _one(request: Request[Any, Any, Any], examination: str, fault: Fault | None = None) -> Response[bytes]:
    parts = parts_of(request)
    whole, names = await asyncio.to_thread(_whole, parts, examination)
    return page(
        request,
        "evidence/examination.html",
        status=200 if fault is None else fault.problem.status,
        whole=whole,
        names=names,
        fault=fault,
        key=fresh_key(),
        may_end=may_say(request, "examination-ended"),
    )


async def _list(
    request: Request[Any, Any, Any], *, form: Form | None = None, typed: Typed | None = None, fault: Fault | None = None
) -> Response[bytes]:
    seen, people = await asyncio.to_thread(_every, parts_of(request))
    return page(
        request,
        "evidence/examinations.html",
        status=200 if fault is None else fault.problem.status,
        rows=seen,
        names={person.account: person.name for person in people},
        auditors=[(one.account, one.name or one.account) for one in people if "examiner" in one.roles],
        typed=typed or Typed(),
        closed=("withheld", "erasable") if form is None else form.every("withhold"),
        fault=fault,
        key=fresh_key() if form is None else form.text("key"),
        may_grant=may_say(request, "examination-granted"),
    )


def _every(parts: Parts) -> tuple[tuple[ExaminationSeen, ...], list[Account]]:
    with open_reader(parts.book.store) as reader:
        seen = examinations(reader)
    return seen, list_accounts(parts.book.store)


def _whole(parts: Parts, examination: str) -> tuple[ExaminationWhole, dict[str, str | None]]:
    with open_reader(parts.book.store) as reader:
        whole = examination_whole(reader, examination)
    return whole, {person.account: person.name for person in list_accounts(parts.book.store)}
