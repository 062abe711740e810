"""What is done about a case by its forms: an action ordered, letters made, holds lifted, the case closed."""

from typing import Any

from litestar import Controller, Request, Response, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.containment.acting import Act, act_on_case, reason_of
from api.pages.containment.case_page import show_case
from api.pages.desk.forms import Typed, fault_of, key_of, now_text, record_of, say, typed_in
from api.pages.refusal import see_other
from ledger.application.case_desk import STOPS, Order
from ledger.errors import LedgerError
from ledger.line.cases import CaseClosed


def _described(summary: str, action: str = "contain") -> dict[str, Any]:
    return described(Operation(summary, "pages", action=action, media=HTML, page=True))


class CaseActs(Controller):
    """The forms of a case's page."""

    path = "/containment/case/{case:str}"

    @post("/order", status_code=303, opt=_described("Order an action"))
    async def order(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """A stop of sale or a recall, with its holds in the same entry."""
        form = await read_form(request)
        typed = typed_in(form, ("order", "whole_lots"))
        asked: dict[str, Any] = {"action": typed["order"], "stops": form.every("stops") or STOPS}
        order = Order(**asked, whole_lots=typed["whole_lots"] == "yes")
        return await _acted(
            request, case, ("order", form, typed, "ordered"), lambda desk, key, who: desk.order(case, order, key, who)
        )

    @post("/letters", status_code=303, opt=_described("Make the letters of a case"))
    async def letters(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """One to each consignee of the register that holds a ball of it."""
        form = await read_form(request)
        return await _acted(
            request,
            case,
            ("letters", form, Typed(), "written"),
            lambda desk, key, who: desk.write_letters(case, (), key, who),
        )

    @post("/lift", status_code=303, opt=_described("Lift the holds of a case"))
    async def lift(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """All that stand; those of a recall go on until a second person has lifted them too."""
        form = await read_form(request)
        typed = typed_in(form, ("reason",))
        reason = reason_of(typed["reason"])
        return await _acted(
            request, case, ("lift", form, typed, "lifted"), lambda desk, key, who: desk.lift(case, reason, key, who)
        )

    @post("/close", status_code=303, opt=_described("Close a case"))
    async def close(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """With how many balls nobody answered for, where there are any."""
        form = await read_form(request)
        typed = typed_in(form, ("decision", "reason", "unaccounted"))
        said = {"case": case, "decision": typed["decision"], "reason": reason_of(typed["reason"])}
        said |= {"closed_with_unaccounted": typed["unaccounted"].lstrip("0"), "at": now_text(request)}
        try:
            entered = await say(request, key_of(form), record_of(CaseClosed, said))
        except LedgerError as error:
            fault = fault_of(request, error, {"closed_with_unaccounted": "unaccounted"})
            return await show_case(request, case, form="close", typed=typed, fault=fault, key=form.text("key"))
        return _back(case, "closed" if entered else "again")


def _back(case: str, note: str) -> Response[bytes]:
    return see_other(f"/containment/case/{case}?note={note}")


async def _acted(
    request: Request[Any, Any, Any], case: str, said: tuple[str, Form, Typed, str], act: Act
) -> Response[bytes]:
    """Do it, and go back to the case; refused, its form is shown again. ``said``: form, its fields, what was typed, the note."""
    name, form, typed, note = said
    try:
        fresh = await act_on_case(request, key_of(form), act)
    except LedgerError as error:
        return await show_case(
            request, case, form=name, typed=typed, fault=fault_of(request, error), key=form.text("key")
        )
    return _back(case, note if fresh else "again")
