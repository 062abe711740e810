"""One's own account: the password, the language, the other sessions."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Fault, fault_of, read_form
from api.pages.access.shown import show
from api.pages.access.signing_in import language_of
from api.pages.catalogue import N_
from api.pages.refusal import ACCOUNT, FRONT, SIGN_IN, see_other
from api.pages.session import BrowserSession, session_at
from api.parts import Parts, parts_of
from ledger.application.sign_in import change_password, session_account
from ledger.errors import LedgerError
from ledger.store.passwords import password_of_account
from ledger.store.sessions import end_sessions, list_sessions, set_session_language

TYPED_TWICE = Fault("again", N_("The two new passwords differ. Type the new one twice."))


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="own-account", media=HTML, page=True))


class OwnAccount(Controller):
    """What a person may change about their own account."""

    path = ACCOUNT

    @get(opt=_described("Your account"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The forms. A device by itself has no account of its own: somebody must sign in first."""
        session = session_at(request)
        if session is None or not session.person:
            return see_other(f"{SIGN_IN}?next={ACCOUNT}")
        return await _page(request, session)

    @post("/password", status_code=303, opt=_described("Change your password"))
    async def password(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new password, known by who knows the present one. Other sessions end."""
        parts, session = parts_of(request), session_at(request)
        if session is None or not session.person:
            return see_other(f"{SIGN_IN}?next={ACCOUNT}")
        form = await read_form(request)
        new = form.exact("new")
        if new != form.exact("again"):
            return await _page(request, session, fault=TYPED_TWICE, status=422)
        try:
            await parts.long_read(_change, parts, session, form.exact("old"), new)
        except LedgerError as error:
            return await _page(request, session, fault=fault_of(error), status=422)
        parts.sessions.forget()
        return see_other(FRONT if session.must_change else f"{ACCOUNT}?done=password")

    @post("/sessions", status_code=303, opt=_described("End your other sessions"))
    async def sessions(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """End every session of this account but this one."""
        parts, session = parts_of(request), session_at(request)
        if session is not None and session.person:
            await asyncio.to_thread(
                end_sessions, parts.book.store, session.account, parts.book.clock_ms(), but=session.digest
            )
            parts.sessions.forget()
        return see_other(f"{ACCOUNT}?done=sessions")

    @post("/language", status_code=303, opt=_described("Choose your language"))
    async def language(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Show the pages of this session in another language."""
        parts, session = parts_of(request), session_at(request)
        chosen = language_of((await read_form(request)).text("language"))
        if session is not None and session.person:
            await asyncio.to_thread(set_session_language, parts.book.store, session.digest, chosen)
            parts.sessions.forget()
        return see_other(ACCOUNT)


def _change(parts: Parts, session: BrowserSession, old: str, new: str) -> None:
    now_ms = parts.book.clock_ms()
    change_password(parts.book.store, session_account(parts.book.store, session.cookie, now_ms), old, new, now_ms)


async def _page(
    request: Request[Any, Any, Any], session: BrowserSession, *, fault: Fault | None = None, status: int = 200
) -> Response[bytes]:
    parts = parts_of(request)
    store, now_ms = parts.book.store, parts.book.clock_ms()
    present = await asyncio.to_thread(list_sessions, store, session.account, now_ms)
    known = await asyncio.to_thread(password_of_account, store, session.account)
    return show(
        request,
        "account.html",
        fault=fault,
        status=status,
        others=len([one for one in present if one.digest != session.digest]),
        has_password=known is not None,
        done=request.query_params.get("done", ""),
    )
