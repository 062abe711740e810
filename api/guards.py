"""Who asks, and whether they may: bearer token or browser's cookie to account, account to action.

A bearer token goes before a cookie.  By a cookie, what changes something must come from a page of this host and say the
form token of its session (`api.same_site`); a page's form says it in a field, a script in the header ``x-form-token``.

Accounts are kept for a few seconds by the digest of their token, so that a busy station costs no look-up; **a revoked
token may go on for as long as that, and no longer** (`Settings.token_memory_s`).  Only accounts that exist are kept.
"""

import asyncio
import time
from collections.abc import Callable
from typing import Any

from litestar import Request
from litestar.connection import ASGIConnection
from litestar.handlers.base import BaseRouteHandler

from api.operation import operation_of
from api.pages.session import BrowserSession, Sessions
from api.same_site import SAFE, check_form_token, check_same_site
from api.standby import asked_again, let_lag
from ledger.access.roles import MAY_DO, check_may_do
from ledger.access.tokens import Account, token_digest
from ledger.errors import Forbidden, Unauthenticated

OWN_ACCOUNT = "own-account"
"""The one action that is open to an account whose password was given by someone else."""

MOST_KEPT = 10_000


class Identity:
    """Knows accounts by their tokens; ``look_up`` asks the book and may block."""

    def __init__(
        self, look_up: Callable[[str], Account], memory_s: float, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        """Keep each account for ``memory_s`` seconds after it was looked up."""
        self._look_up = look_up
        self._memory_s = memory_s
        self._clock_s = clock_s
        self._kept: dict[str, tuple[Account, float]] = {}

    async def account(self, authorization: str) -> Account:
        """The account of an Authorization header. Raises Unauthenticated."""
        scheme, _, token = authorization.partition(" ")
        if scheme.lower() != "bearer" or not token:
            raise Unauthenticated(
                "request carries no bearer token",
                where="Authorization",
                mend="send the header Authorization: Bearer and your token",
            )
        digest = token_digest(token.strip())
        kept = self._kept.get(digest)
        if kept is not None and self._clock_s() < kept[1]:
            return kept[0]
        account = await asyncio.to_thread(self._look_up, token.strip())
        if len(self._kept) >= MOST_KEPT:
            self._kept.clear()
        self._kept[digest] = (account, self._clock_s() + self._memory_s)
        return account

    def forget(self) -> None:
        """Look every token up anew: after an account was closed here."""
        self._kept.clear()


async def guard(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Let a request through if its operation is public, or its account may do it.

    Raises Unauthenticated or Forbidden. A handler without a description is closed to everyone. Of a page, the scope keeps
    the session under ``session`` (`api.pages.session.session_at`), None for nobody, and ``page``.
    """
    operation = operation_of(handler)
    page = operation is not None and operation.page
    public = operation is not None and operation.action is None
    # What is open to everyone is refused in the form that the client prefers; a page as a page, all else as JSON.
    connection.scope["page"] = page or (None if public else False)  # type: ignore[typeddict-unknown-key]  # ours, beside those of ASGI
    if operation is not None and operation.limited and not asked_again(connection.scope):
        connection.app.state.parts.limiter.admit(client_of(connection))
    if operation is not None and operation.action is None:
        if page:
            await _open_page(connection)
        let_lag(connection.scope, operation)
        return
    action = "" if operation is None else str(operation.action)
    authorization = connection.headers.get("authorization", "")
    session = None if authorization else await _session(connection)
    if session is None:
        if page and not authorization:
            raise Unauthenticated("nobody is signed in here", mend="sign in")
        identity: Identity = connection.app.state.parts.identity
        account = await identity.account(authorization)
        check_may_do(account.roles, action)
    else:
        account = session.as_account()
        await _check_session(connection, session, action, page=page)
    connection.scope["user"] = account
    let_lag(connection.scope, operation)


async def _session(connection: ASGIConnection[Any, Any, Any, Any]) -> BrowserSession | None:
    sessions: Sessions = connection.app.state.parts.sessions
    session = await sessions.find(connection)
    connection.scope["session"] = session
    return session


async def _open_page(connection: ASGIConnection[Any, Any, Any, Any]) -> None:
    """A page that is open to everyone knows who looks, and takes forms of this host alone."""
    session = await _session(connection)
    if session is not None:
        connection.scope["user"] = session.as_account()
    if connection.scope.get("method") not in SAFE:
        check_same_site(connection)


async def _check_session(
    connection: ASGIConnection[Any, Any, Any, Any], session: BrowserSession, action: str, *, page: bool
) -> None:
    if session.must_change and action != OWN_ACCOUNT:
        raise Forbidden(
            "password of this account was given by someone else", mend="choose a password of your own at /account"
        )
    check_may_do(session.roles, action)
    if connection.scope.get("method") not in SAFE:
        check_same_site(connection)
        await check_form_token(connection, session, in_form=page)


def account_of(request: Request[Any, Any, Any]) -> Account:
    """The account that the guard found."""
    account: Account = request.scope["user"]
    return account


def may_do(request: Request[Any, Any, Any], action: str) -> bool:
    """Whether who asks may do something of `MAY_DO`, so that it is offered."""
    return not MAY_DO[action].isdisjoint(account_of(request).roles)


def client_of(connection: ASGIConnection[Any, Any, Any, Any]) -> str:
    """The address that the request came from; behind a proxy it is the one that a trusted proxy names."""
    client = connection.scope.get("client")
    return client[0] if client else "unknown"
