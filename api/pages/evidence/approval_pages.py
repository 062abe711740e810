"""Approval files for people: the list with the form of a new one, and one file with all that is missing or in the way."""

from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import UNSET

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Fault, Typed, fault_of, fresh_key, key_of, may_say, now_text, record_of, say, typed_in
from api.pages.evidence.names import names_in
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.application.adopted_files import ChecklistSeen, checklists_seen, rulebooks_here
from ledger.application.approval_files import CAUTION, ApprovalView, approval_view, approvals_of
from ledger.application.approving import Announce, CandidatesAnswer, candidates_answer
from ledger.application.pourbook import Pourbook
from ledger.application.registers import ModelSeen, models_at
from ledger.errors import LedgerError
from ledger.line.approval_files import ApprovalFileOpened
from ledger.store.accounts import list_accounts
from ledger.store.reader import open_reader

FIELDS = ("file", "model", "revision", "body", "classes", "rulebook", "checklist")
"""What a new file is opened with."""


class ApprovalPages(Controller):
    """A model's balls and evidence for a governing body."""

    path = "/evidence"

    @get(opt=described(Operation("Approval files", "pages", action="approvals", media=HTML, page=True)))
    async def approvals(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every file, how far it is, and the form of a new one."""
        return await _list(request)

    @post(
        "/approvals",
        status_code=303,
        opt=described(Operation("Open an approval file", "pages", action="approval-work", media=HTML, page=True)),
    )
    async def opened(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new file."""
        form = await read_form(request)
        typed = typed_in(form, FIELDS)
        said = {
            **typed,
            "file": typed["file"].upper(),
            "model": typed["model"].upper(),
            "body": typed["body"].lower(),
            "classes": tuple(names_in(typed["classes"])),
            "at": now_text(request),
        }
        try:
            await say(request, key_of(form), record_of(ApprovalFileOpened, said))
        except LedgerError as error:
            return await _list(request, form=form, typed=typed, fault=fault_of(request, error))
        return see_other(f"/evidence/approval/{said['file']}")

    @get(
        "/approval/{file:str}",
        opt=described(Operation("An approval file", "pages", action="approvals", media=HTML, page=True)),
    )
    async def approval(self, request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
        """One file, live."""
        return await approval_answer(request, file)


async def approval_answer(
    request: Request[Any, Any, Any],
    file: str,
    *,
    step: str = "",
    typed: Typed | None = None,
    fault: Fault | None = None,
) -> Response[bytes]:
    """The page of a file; ``step``: the form that was refused, shown again with what was typed."""
    view, candidates, names = await parts_of(request).long_read(_view, parts_of(request).book, file)
    signed = {line.by for line in view.page.signatures if line.freeze == view.page.frozen}
    return page(
        request,
        "evidence/approval.html",
        status=200 if fault is None else fault.problem.status,
        view=view,
        candidates={one.weight_class: one.candidates for one in candidates.classes} if candidates else {},
        balls={ball.unit: ball for ball in view.balls},
        ways={way.step: way for way in view.ways},
        names=names,
        told={one.fact: one.at for one in view.history},
        reportable=[one for one in view.changes if one.found_by and not one.reported_by],
        step=step,
        typed=typed or Typed(),
        fault=fault,
        key=fresh_key(),
        may_work=may_say(request, "approval-file-frozen"),
        may_answer=may_say(request, "approval-item-answered"),
        own=account_of(request).account,
        signed=signed,
    )


def _view(book: Pourbook, file: str) -> tuple[ApprovalView, CandidatesAnswer | None, dict[str, str | None]]:
    """The file, from what could be drawn now while it is open, and the names of accounts."""
    names = {person.account: person.name for person in list_accounts(book.store)}
    with open_reader(book.store) as reader:
        view = approval_view(reader, file)
        if view.approval.state != "open":
            return view, None, names
        try:
            return view, candidates_answer(reader, file, Announce({})), names
        except LedgerError:
            # No shell lot of the model yet, or too many to draw from: the page says so by itself.
            return view, None, names


def _known(book: Pourbook) -> tuple[Any, tuple[ModelSeen, ...], list[tuple[str, str]], tuple[ChecklistSeen, ...]]:
    with open_reader(book.store) as reader:
        editions = [
            (edition.digest, f"{edition.rulebook.title} ({edition.rulebook.id})")
            for edition in rulebooks_here(reader).editions
        ]
        return approvals_of(reader), models_at(reader, book.clock_ms()), editions, checklists_seen(reader)


async def _list(
    request: Request[Any, Any, Any], *, form: Form | None = None, typed: Typed | None = None, fault: Fault | None = None
) -> Response[bytes]:
    parts = parts_of(request)
    files, models, editions, checklists = await parts.long_read(_known, parts.book)
    return page(
        request,
        "evidence/approvals.html",
        status=200 if fault is None else fault.problem.status,
        files=files,
        models=[(model.model, f"{model.name} ({model.model})") for model in models],
        editions=editions,
        own_lists=[
            (seen.digest, f"{seen.checklist.title} ({seen.checklist.id})")
            for seen in checklists
            if seen.digest is not UNSET
        ],
        caution=CAUTION,
        typed=typed or Typed(),
        fault=fault,
        key=fresh_key() if form is None else form.text("key"),
        may_open=may_say(request, "approval-file-opened"),
    )
