"""Opening a claim: its form, filled in as far as the search knows, with what the book says of the ball beside it."""

import asyncio
import datetime as dt
import secrets
from typing import Any, NamedTuple

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import Fault, Typed, fault_of, fresh_key, key_of, now_text, record_of, say, today_of, typed_in
from api.pages.desk.uploads import MOST_BYTES, evidence_of, kept_texts
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.access.roles import check_may_do, check_may_say
from ledger.application.consignees import consignee_seen
from ledger.application.warranty_desk import Asked, warranty_answer
from ledger.errors import LedgerError
from ledger.line.case_rows import Consignee
from ledger.line.claim_rows import FailureMode
from ledger.line.claims import ClaimOpened, Evidence
from ledger.line.failure_modes import TRADE_MODES
from ledger.line.rows import Unit
from ledger.store.adopted_terms import terms_in_force
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import every_row
from ledger.warranty.answer import WarrantyAnswer

NEW = "/desk/claim/new"
FIELDS = (
    "claim", "mode", "serial", "unit", "bought_on", "proof", "drilled_on", "drilled_by", "layout", "fitted", "stored",
    "claimant", "contact", "via", "market", "answer_by", "keep_until", "note", "read",
)  # fmt: skip
_IN_FORM = {
    "drilled.on": "drilled_on",
    "drilled.by": "drilled_by",
    "drilled.layout": "layout",
    "drilled.fitted": "fitted",
    "evidence": "photos",
    "evidence.digest": "photos",
}


class NewClaim(Controller):
    """The form of a claim."""

    path = NEW

    @get(opt=described(Operation("Open a claim", "pages", action="warranty", media=HTML, page=True)))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form; with ``part`` or ``whole`` what the book says of the ball."""
        typed = Typed({name: str(request.query_params.get(name, "")).strip() for name in FIELDS})
        if "part" in request.query_params:
            return page(request, "desk/answer.html", **await _answer(request, typed))
        return await _page(request, typed, whole="whole" in request.query_params)

    @post(
        status_code=200,
        request_max_body_size=MOST_BYTES,
        opt=described(Operation("Enter a claim", "pages", action="warranty", media=HTML, page=True)),
    )
    async def opened(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Enter it, or with ``act`` look: show what the terms say of what was typed."""
        form = await read_form(request)
        typed = typed_in(form, FIELDS)
        evidence: tuple[Evidence, ...] = ()
        try:
            evidence = await evidence_of(request, form)
            if form.text("act") == "look":
                return await _page(request, typed, form=form, evidence=evidence, whole=True)
            check_may_say(account_of(request).roles, "claim-opened")
            entered = await say(request, key_of(form), _record(request, typed, evidence))
        except LedgerError as error:
            fault = fault_of(request, error, _IN_FORM)
            return await _page(request, typed, form=form, evidence=evidence, fault=fault)
        return see_other(f"/desk/claim/{typed['claim']}?note={'again' if entered is None else 'opened'}")


def _record(request: Request[Any, Any, Any], typed: Typed, evidence: tuple[Evidence, ...]) -> ClaimOpened:
    drilled = {
        "on": typed["drilled_on"],
        "by": typed["drilled_by"],
        "layout": typed["layout"].lower().replace(" ", "-"),
    }
    drilled["fitted"] = typed["fitted"]
    plain = {name: typed[name] for name in FIELDS if name not in {*_IN_FORM.values(), "read"}}
    named = [{"digest": one.digest, "what": one.what} for one in evidence]
    given = {name: text for name, text in drilled.items() if text}
    return record_of(ClaimOpened, {**plain, "at": now_text(request), "drilled": given, "evidence": named})


class _Choices(NamedTuple):
    """What the form offers: failure modes that the plant added, markets of the terms, and consignees."""

    own_modes: list[FailureMode]
    markets: list[str]
    consignees: list[tuple[str, str]]


async def _page(
    request: Request[Any, Any, Any],
    typed: Typed,
    *,
    form: Form | None = None,
    evidence: tuple[Evidence, ...] = (),
    fault: Fault | None = None,
    whole: bool = False,
) -> Response[bytes]:
    choices = await asyncio.to_thread(_choices, parts_of(request).book.store, parts_of(request).book.clock_ms())
    today = today_of(request)
    shown = Typed(typed)
    shown["claim"] = typed["claim"] or f"WC-{today:%y%m%d}-{secrets.token_hex(3).upper()}"
    answer = (
        await _answer(request, shown)
        if whole and (shown["serial"] or shown["unit"])
        else {"ball": None, "answer": None}
    )
    return page(
        request,
        "desk/new-claim.html",
        status=200 if fault is None else fault.problem.status,
        typed=shown,
        key=fresh_key() if form is None else form.text("key"),
        kept=kept_texts(evidence),
        fault=fault,
        modes=list(TRADE_MODES),
        choices=choices,
        today=today,
        whole=whole,
        **answer,
    )


def _choices(store: Store, now_ms: int) -> _Choices:
    with open_reader(store) as reader:
        rows = every_row(reader.transaction, Consignee)
        terms = terms_in_force(reader, dt.datetime.fromtimestamp(now_ms / 1000, dt.UTC).date()).terms
        markets = {row.market for row in rows} | {term.market for term in terms.term if term.market}
        names = [(row.consignee, consignee_seen(reader, row, 0).name) for row in rows]
        return _Choices(every_row(reader.transaction, FailureMode), sorted(markets), names)


async def _answer(request: Request[Any, Any, Any], typed: Typed) -> dict[str, Any]:
    """What the book says of the ball at once: of the one that was chosen, or of every ball that the number may mean."""
    check_may_do(account_of(request).roles, "warranty")
    parts = parts_of(request)
    asked = Asked(typed["serial"], typed["bought_on"] or None, None, typed["market"], typed["mode"] or None)
    answer = await parts.long_read(_ask, parts, asked, typed["unit"])
    ball = next((one for one in answer.balls if one.unit == typed["unit"]), None)
    return {"answer": answer, "ball": ball or (answer.balls[0] if len(answer.balls) == 1 else None)}


def _ask(parts: Parts, asked: Asked, unit: str) -> WarrantyAnswer:
    with open_reader(parts.book.store) as reader:
        return warranty_answer(
            reader, asked._replace(serial=asked.serial or _serial_of(reader, unit)), parts.book.clock_ms()
        )


def _serial_of(reader: Reader, unit: str) -> str:
    row = reader.one(Unit, unit)
    return "" if row is None else row.serial or ""
