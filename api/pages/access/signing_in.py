"""The sign-in page, and signing out.

A sign-in begins a session with a new cookie, whatever cookie the browser sent, and ends the session that it had.  The
page leads back to where the person wanted to be, if that is an address of this service.
"""

import asyncio
from typing import Any
from urllib.parse import urlsplit

from litestar import Controller, Request, Response, get, post

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Fault, read_form
from api.pages.access.shown import show
from api.pages.catalogue import LANGUAGES, N_
from api.pages.refusal import FRONT, SIGN_IN, local_address, see_other
from api.pages.session import session_at
from api.parts import Parts, parts_of
from ledger.application.sign_in import sign_in, sign_out, wait_s
from ledger.errors import AccessDenied, Unauthenticated

WRONG = Fault("password", N_("Name or password is not right. Type both again, or ask the system keeper."))
CLOSED_DOOR = N_("Too many sign-ins under this name have failed. Wait %(seconds)s seconds, then try again.")


class SigningIn(Controller):
    """Where a person comes in and goes out."""

    @get(SIGN_IN, opt=described(Operation("Sign in", "pages", media=HTML, page=True)))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form."""
        return sign_in_page(request, request.query_params.get("next", FRONT))

    @post(SIGN_IN, status_code=303, opt=described(Operation("Sign in", "pages", media=HTML, page=True, limited=True)))
    async def sent(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Let a person in, or say why not."""
        parts = parts_of(request)
        form = await read_form(request)
        name, wanted = form.text("name"), form.text("next")
        try:
            cookie = await parts.long_read(
                sign_in,
                parts.book.store,
                name,
                form.exact("password"),
                parts.book.clock_ms(),
                language=language_of(form.text("language")),
            )
        except AccessDenied as error:
            if isinstance(error, Unauthenticated):
                return sign_in_page(request, wanted, fault=WRONG, status=401, name=name)
            seconds = await asyncio.to_thread(wait_s, parts.book.store, name, parts.book.clock_ms())
            fault = Fault("name", CLOSED_DOOR, {"seconds": max(1, seconds)})
            return sign_in_page(request, wanted, fault=fault, status=429, name=name)
        return await came_in(request, parts, cookie, wanted)

    @post(
        "/sign-out",
        status_code=303,
        opt=described(Operation("Sign out", "pages", action="own-account", media=HTML, page=True)),
    )
    async def out(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """End the session here and in the store. A device stays enrolled."""
        parts = parts_of(request)
        await _end_present(request, parts)
        response = see_other(SIGN_IN)
        parts.sessions.give(request, response, "session", "")
        return response


def sign_in_page(
    request: Request[Any, Any, Any], wanted: str, *, fault: Fault | None = None, status: int = 200, name: str = ""
) -> Response[bytes]:
    """The form, leading on to ``wanted``."""
    provider = parts_of(request).provider
    return show(
        request,
        "sign-in.html",
        fault=fault,
        status=status,
        name=name,
        wanted=local_address(wanted),
        other_party="" if provider is None else urlsplit(provider.issuer).hostname,
    )


async def came_in(request: Request[Any, Any, Any], parts: Parts, cookie: str, wanted: str) -> Response[bytes]:
    """Send a person who was let in on their way, with the new cookie."""
    await _end_present(request, parts)
    response = see_other(local_address(wanted))
    parts.sessions.give(request, response, "session", cookie)
    return response


def language_of(said: str) -> str | None:
    """A language that was chosen; None: as the browser asks."""
    return said if said in LANGUAGES else None


async def _end_present(request: Request[Any, Any, Any], parts: Parts) -> None:
    """End the session of a person that the browser came with."""
    session = session_at(request)
    if session is not None and session.person:
        await asyncio.to_thread(sign_out, parts.book.store, session.cookie, parts.book.clock_ms())
        parts.sessions.forget()
