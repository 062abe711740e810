"""The form of a dossier: which balls, what stays sealed, which parts; and the rule by which samples are drawn, in words."""

from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromQuery
from litestar.response import Stream

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Fault, Typed, fault_of, typed_in
from api.pages.evidence.names import names_in
from api.pages.page import page
from api.parts import parts_of
from api.routes.dossiers import dossier_answer
from ledger.application.dossier_wanted import DossierWanted
from ledger.application.dossiers import USUAL_PARTS
from ledger.errors import LedgerError, MalformedRecord
from ledger.evidence.files import verify_page_digest
from ledger.evidence.withholding import NAMES

GROUPS = tuple(name for name in NAMES if name not in {"withheld", "erasable"})
"""The groups of sealed fields that are left closed or opened one by one."""


class DossierPages(Controller):
    """Evidence to hand over."""

    path = "/evidence"

    @get("/dossier", opt=described(Operation("Dossiers", "pages", action="dossier", media=HTML, page=True)))
    async def form(
        self,
        request: Request[Any, Any, Any],
        serials: FromQuery[str] = "",
        lots: FromQuery[str] = "",
        approval_file: FromQuery[str] = "",
    ) -> Response[bytes]:
        """The form, filled in with what the address names."""
        typed = Typed(serials=serials[:2000], lots=lots[:2000], approval_file=approval_file[:40])
        return _form(request, typed, GROUPS)

    @post(
        "/dossier",
        status_code=200,
        opt=described(Operation("A dossier as a file", "pages", action="dossier", media=HTML, page=True, may_lag=True)),
    )
    async def write(self, request: Request[Any, Any, Any]) -> Response[bytes] | Stream:
        """The file, or the form again with the reason."""
        form = await read_form(request)
        try:
            return await dossier_answer(request, _wanted(form))
        except LedgerError as error:
            typed = typed_in(form, ("serials", "lots", "approval_file"))
            return _form(request, typed, form.every("withhold"), fault_of(request, error))

    @get(
        "/draw-rule",
        opt=described(Operation("How samples are drawn", "pages", action="approvals", media=HTML, page=True)),
    )
    async def draw_rule(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """In words, with what it does not prevent."""
        return page(request, "evidence/draw-rule.html")


def _wanted(form: Form) -> DossierWanted:
    """What the form asks for. Raises MalformedRecord."""
    withhold = tuple(name for name in form.every("withhold") if name in NAMES)
    chosen = tuple(part for part in (*USUAL_PARTS, "report") if part in form.every("parts"))
    if len(withhold) != len(form.every("withhold")):
        raise MalformedRecord("group of sealed fields is not known", where="withhold", mend="use the boxes of the form")
    return DossierWanted(
        serials=tuple(names_in(form.text("serials"))),
        lots=tuple(names_in(form.text("lots"))),
        approval_file=form.text("approval_file").upper() or None,
        withhold=withhold,
        parts=chosen if form.text("choosing") else USUAL_PARTS,
    )


def _form(
    request: Request[Any, Any, Any], typed: Typed, closed: tuple[str, ...], fault: Fault | None = None
) -> Response[bytes]:
    parts = parts_of(request)
    return page(
        request,
        "evidence/dossier.html",
        status=200 if fault is None else fault.problem.status,
        typed=typed,
        closed=closed,
        groups=GROUPS,
        usual=USUAL_PARTS,
        most=parts.settings.dossier_limit,
        verifier_digest=verify_page_digest(),
        fault=fault,
    )
