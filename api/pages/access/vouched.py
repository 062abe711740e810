"""Sign-in by another party (OpenID Connect): sent there, and come back from there.

The cookie of a round holds 32 random bytes and the address that the person wanted; it is good for ten minutes and for one
answer.  What it says of the address is judged when it is used, like any other text that a browser sends.
"""

import asyncio
import base64
import binascii
import secrets
from typing import Any

from litestar import Controller, Request, Response, get
from litestar.datastructures import Cookie

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Fault
from api.pages.access.provider import Provider, Round
from api.pages.access.signing_in import came_in, sign_in_page
from api.pages.catalogue import N_
from api.pages.refusal import FRONT, SIGN_IN, local_address, see_other
from api.parts import parts_of
from ledger.application.people import sign_in_vouched
from ledger.errors import NotFound, Unauthenticated

LASTS_S = 600
BACK = f"{SIGN_IN}/oidc/back"

REFUSED = Fault("", N_("The other party did not let you in. Try again, or sign in by name and password."))
NO_ACCOUNT = Fault("", N_("No account here has the name that the other party gave. Ask the system keeper for one."))


class Vouched(Controller):
    """The way by the other party."""

    path = f"{SIGN_IN}/oidc"

    @get(
        status_code=303,
        opt=described(Operation("Sign in by another party", "pages", media=HTML, page=True, limited=True)),
    )
    async def away(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Send the browser to the provider."""
        provider = _provider(request)
        secret = secrets.token_urlsafe(32)
        try:
            address = await provider.address(Round.of(secret), _back(request))
        except Unauthenticated:
            return sign_in_page(request, FRONT, fault=REFUSED, status=502)
        response = see_other(address)
        wanted = local_address(request.query_params.get("next", FRONT))
        _give(request, response, f"{secret}.{base64.urlsafe_b64encode(wanted.encode()).decode()}")
        return response

    @get("/back", status_code=303, opt=described(Operation("Come back", "pages", media=HTML, page=True, limited=True)))
    async def back(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Let the person in whose name the provider vouches for, if there is one account of that name."""
        parts = parts_of(request)
        secret, wanted = _round(request)
        asked = request.query_params
        try:
            # A browser that began no round has a state that nobody was ever sent.
            claims = await _provider(request).claims(
                Round.of(secret or secrets.token_urlsafe(32)),
                state=asked.get("state", ""),
                code=asked.get("code", ""),
                back=_back(request),
            )
        except Unauthenticated:
            return _ended(request, sign_in_page(request, wanted, fault=REFUSED, status=401))
        try:
            name = vouched_name(claims, parts.settings.oidc_name_claim)
            cookie = await asyncio.to_thread(sign_in_vouched, parts.book.store, name, parts.book.clock_ms())
        except Unauthenticated:
            return _ended(request, sign_in_page(request, wanted, fault=NO_ACCOUNT, status=403))
        return _ended(request, await came_in(request, parts, cookie, wanted))


def vouched_name(claims: dict[str, Any], claim: str) -> str:
    """The name in a claim. Raises Unauthenticated where there is none, and for an address of mail that is not verified.

    Source: OpenID Connect Core 1.0 section 5.1, ``email_verified``; from memory.
    """
    name = claims.get(claim)
    if not isinstance(name, str) or not name.strip():
        raise Unauthenticated("other party gave no name", expected=f"claim {claim}", where=claim)
    if claim == "email" and claims.get("email_verified") is not True:
        raise Unauthenticated("other party has not verified the address", where="email_verified")
    return name


def _provider(request: Request[Any, Any, Any]) -> Provider:
    provider = parts_of(request).provider
    if provider is None:
        raise NotFound("no other party is set up here", mend="sign in by name and password")
    return provider


def _back(request: Request[Any, Any, Any]) -> str:
    secure = parts_of(request).sessions.is_secure(request)
    return f"{'https' if secure else 'http'}://{request.headers.get('host', '')}{BACK}"


def _cookie_name(request: Request[Any, Any, Any]) -> str:
    return "__Host-pourbook-round" if parts_of(request).sessions.is_secure(request) else "pourbook-round"


def _give(request: Request[Any, Any, Any], response: Response[Any], text: str) -> None:
    response.set_cookie(
        Cookie(
            key=_cookie_name(request),
            value=text,
            max_age=LASTS_S if text else 0,
            path="/",
            secure=parts_of(request).sessions.is_secure(request),
            httponly=True,
            samesite="lax",
        )
    )


def _ended(request: Request[Any, Any, Any], response: Response[bytes]) -> Response[bytes]:
    """A round counts once, whatever came of it."""
    _give(request, response, "")
    return response


def _round(request: Request[Any, Any, Any]) -> tuple[str, str]:
    secret, _, wanted = request.cookies.get(_cookie_name(request), "").partition(".")
    try:
        address = base64.urlsafe_b64decode(wanted).decode("ascii")
    except (binascii.Error, ValueError):
        address = FRONT
    return secret, local_address(address)
