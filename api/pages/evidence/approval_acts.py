"""What is done about an approval file: each form one step, one entry; refused, it is shown again with what was typed."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from litestar import Controller, Request, Response, post
from litestar.datastructures import UploadFile
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Typed, fault_of, key_of, now_text, record_of, say, typed_in
from api.pages.desk.uploads import MOST_BYTES
from api.pages.evidence.approval_pages import approval_answer
from api.pages.evidence.names import names_in
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.access.tokens import Account
from ledger.application.approving import Announce, ApprovalDesk, Replace
from ledger.errors import LedgerError, MalformedRecord, RuleStands, TooLarge
from ledger.line.approval_changes import ApprovalChangeReported
from ledger.line.approval_files import ApprovalFileReopened, ApprovalFileWithdrawn
from ledger.line.approval_items import ApprovalItemAnswered
from ledger.line.approval_signing import ApprovalFileAnswered, ApprovalFileHandedOver
from ledger.store.blobs import put_blob

_STEPS = ("announce", "draw", "replace", "freeze", "sign")
_SAID = ("item", "hand-over", "answer", "report-changes", "withdraw", "reopen")
_FIELDS = (
    "unit", "reason", "freeze", "item", "part", "value", "statement", "dossier", "to", "answer", "entered", "reference",
    "why", "lots", "sort",
)  # fmt: skip


class ApprovalActs(Controller):
    """The forms of one file."""

    path = "/evidence/approval"

    @post(
        "/{file:str}/{step:str}",
        status_code=303,
        request_max_body_size=MOST_BYTES,
        opt=described(Operation("A step of an approval file", "pages", action="approvals", media=HTML, page=True)),
    )
    async def step(self, request: Request[Any, Any, Any], file: FromPath[str], step: FromPath[str]) -> Response[bytes]:
        """Do it. Whoever may not is refused by the record itself."""
        form = await read_form(request)
        typed = typed_in(form, (*_FIELDS, *(f"balls-{pounds}" for pounds in range(4, 17))))
        try:
            if step in _STEPS:
                await _act(request, form, _desk_step(file, step, form, typed))
            elif step in _SAID:
                await _say(request, file, step, form, typed)
            else:
                raise MalformedRecord("step is not known", got=step, where="step", mend="use the forms of the page")
        except LedgerError as error:
            return await approval_answer(request, file, step=step, typed=typed, fault=fault_of(request, error))
        return see_other(f"/evidence/approval/{file}")


async def _act(request: Request[Any, Any, Any], form: Form, act: Callable[[ApprovalDesk, str, Account], Any]) -> None:
    key, account, parts = key_of(form), account_of(request), parts_of(request)
    await parts.entered(await parts.long_read(act, ApprovalDesk(parts.book), key, account))


def _desk_step(file: str, step: str, form: Form, typed: Typed) -> Callable[[ApprovalDesk, str, Account], Any]:
    """What the step asks of the desk. Raises MalformedRecord."""
    if step == "announce":
        balls = {pounds: typed[f"balls-{pounds}"] for pounds in range(4, 17) if typed[f"balls-{pounds}"]}
        wanted = {pounds: _whole(text, f"balls-{pounds}") for pounds, text in balls.items()}
        announced = Announce(
            {pounds: number for pounds, number in wanted.items() if number},
            names_in(typed["lots"]),
            why=typed["why"] or None,
        )
        return lambda desk, key, account: desk.announce(file, announced, key, account)
    if step == "draw":
        return lambda desk, key, account: desk.draw(file, key, account)
    if step == "replace":
        replaced = Replace(typed["unit"], typed["reason"])
        return lambda desk, key, account: desk.replace(file, replaced, key, account)
    if step == "freeze":
        left = form.every("left_open")
        return lambda desk, key, account: desk.freeze(file, left, key, account)
    freeze = typed["freeze"]
    return lambda desk, key, account: desk.sign(file, freeze, key, account)


def _whole(text: str, where: str) -> int:
    if not text.isdecimal() or len(text) > 4:
        raise MalformedRecord("number of balls is none", expected="a whole number", got=text, where=where)
    return int(text)


async def _say(request: Request[Any, Any, Any], file: str, step: str, form: Form, typed: Typed) -> None:
    """Say the record of a step that is said as it is."""
    said: dict[str, Any] = {"at": now_text(request), "file": file}
    makers: dict[str, Callable[[], Awaitable[Any]]] = {"item": lambda: _item(request, said, typed)}
    if step in makers:
        await say(request, key_of(form), await makers[step]())
        return
    kinds: dict[str, tuple[Any, dict[str, Any]]] = {
        "hand-over": (ApprovalFileHandedOver, {name: typed[name] for name in ("freeze", "dossier", "to")}),
        "answer": (ApprovalFileAnswered, {name: typed[name] for name in ("answer", "entered", "reference")}),
        "report-changes": (ApprovalChangeReported, {"changes": form.every("changes"), "to": typed["to"]}),
        "withdraw": (ApprovalFileWithdrawn, {"reason": typed["reason"]}),
        "reopen": (ApprovalFileReopened, {"reason": typed["reason"]}),
    }
    kind, fields = kinds[step]
    await say(request, key_of(form), record_of(kind, {**said, **fields}))


async def _item(request: Request[Any, Any, Any], said: dict[str, Any], typed: Typed) -> ApprovalItemAnswered:
    """One part of an item: a paper or photo with its file, a field of the data sheet, or the statement."""
    fields: dict[str, Any] = {"item": typed["item"]}
    if typed["sort"] == "statement":
        fields["statement"] = typed["value"]
    elif typed["sort"] == "field":
        fields["fields"] = ({"name": typed["part"], "value": typed["value"]},)
    else:
        part = {"name": typed["part"], "digest": await _stored(request)}
        if typed["unit"]:
            part["unit"] = typed["unit"]
        fields["photos" if typed["sort"] == "photo" else "documents"] = (part,)
    return record_of(ApprovalItemAnswered, {**said, **fields})


async def _stored(request: Request[Any, Any, Any]) -> str:
    """The digest of the file that the form brings, stored. Raises RuleStands without one, TooLarge."""
    sent = await request.form()
    for upload in sent.getall("content", []):
        if isinstance(upload, UploadFile) and (raw := await upload.read()):
            limit = parts_of(request).settings.blob_limit
            if len(raw) > limit:
                raise TooLarge("file is too long", expected=f"at most {limit:,} bytes", got=len(raw), where="content")
            media = (upload.content_type or "application/octet-stream").partition(";")[0].strip().lower()
            return (await asyncio.to_thread(put_blob, parts_of(request).book.store, raw, media)).digest
    raise RuleStands("no file came along", expected="a file", where="content", mend="choose the file")
