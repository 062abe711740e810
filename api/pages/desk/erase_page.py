"""Erasing what is kept of people in a claim: shown first, chosen, confirmed, and gone for ever."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Fault, Typed, fault_of, fresh_key, key_of, now_text, record_of, say, typed_in
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.access.roles import check_may_say
from ledger.application.claim_people import PersonalField, claim_people
from ledger.application.claim_view import ClaimView, claim_view
from ledger.errors import LedgerError, MalformedInput
from ledger.line.blob_erasures import BlobErasure
from ledger.line.erasures import Erasure
from ledger.line.record import Record
from ledger.store.reader import open_reader

FIELDS = ("basis", "reason", "sure")


class ErasePages(Controller):
    """What is kept of people, and its end."""

    path = "/desk/claim/{claim:str}/erase"

    @get(
        opt=described(Operation("What of people is kept of a claim", "pages", action="warranty", media=HTML, page=True))
    )
    async def shown(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Each field and file, all chosen."""
        check_may_say(account_of(request).roles, "erasure")
        return await _page(request, claim)

    @post(
        status_code=303,
        opt=described(
            Operation("Erase what of people is kept of a claim", "pages", action="warranty", media=HTML, page=True)
        ),
    )
    async def erased(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Erase what was chosen, in one entry. It cannot be taken back."""
        form = await read_form(request)
        typed = typed_in(form, FIELDS)
        try:
            entered = await say(request, key_of(form), *_records(request, form, typed))
        except LedgerError as error:
            return await _page(request, claim, form=form, typed=typed, fault=fault_of(request, error))
        return see_other(f"/desk/claim/{claim}?note={'erased' if entered else 'again'}")


def _records(request: Request[Any, Any, Any], form: Form, typed: Typed) -> list[Record]:
    """An erasure for each entry that is named, and one of files. Raises MalformedInput where nothing is, or nobody is sure."""
    fields: dict[int, list[str]] = {}
    for text in form.every("field"):
        entry, _, path = text.partition(":")
        if not entry.isdecimal():
            raise MalformedInput("field is not one of the page", got=text, where="field", mend="load the page again")
        fields.setdefault(int(entry), []).append(path)
    blobs = form.every("blob")
    if not fields and not blobs:
        raise MalformedInput(
            "nothing is chosen", expected="a field or a file", where="field", mend="mark what is to be erased"
        )
    if typed["sure"] != "yes":
        raise MalformedInput(
            "it is not said that you are sure",
            expected="the box marked",
            where="sure",
            mend="mark the box: what is erased cannot be brought back",
        )
    said = {"at": now_text(request), "basis": typed["basis"], "reason": "-".join(typed["reason"].lower().split())}
    records: list[Record] = [
        record_of(Erasure, {**said, "entry": entry, "fields": paths}) for entry, paths in fields.items()
    ]
    return records + ([record_of(BlobErasure, {**said, "blobs": blobs})] if blobs else [])


async def _page(
    request: Request[Any, Any, Any],
    claim: str,
    *,
    form: Form | None = None,
    typed: Typed | None = None,
    fault: Fault | None = None,
) -> Response[bytes]:
    view, people = await asyncio.to_thread(_kept, parts_of(request), claim)
    files = [*view.evidence, *((view.imported_from,) if view.imported_from else ())]
    return page(
        request,
        "desk/erase.html",
        status=200 if fault is None else fault.problem.status,
        view=view,
        people=people,
        files=[file for file in files if file.file == "stored"],
        chosen=None if form is None else {*form.every("field"), *form.every("blob")},
        typed=typed or Typed(),
        fault=fault,
        key=fresh_key() if form is None else form.text("key"),
    )


def _kept(parts: Parts, claim: str) -> tuple[ClaimView, tuple[PersonalField, ...]]:
    with open_reader(parts.book.store) as reader:
        return claim_view(reader, claim, parts.book.clock_ms()), claim_people(reader, claim).fields
