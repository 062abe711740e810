"""Who asks, and whether they may: bearer token to account, account to action.

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
from ledger.access.roles import check_may_do
from ledger.access.tokens import Account, token_digest
from ledger.errors import Unauthenticated

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

    Raises Unauthenticated or Forbidden. A handler without a description is closed to everyone.
    """
    operation = operation_of(handler)
    if operation is not None and operation.action is None:
        if operation.limited:
            connection.app.state.parts.limiter.admit(client_of(connection))
        return
    identity: Identity = connection.app.state.parts.identity
    account = await identity.account(connection.headers.get("authorization", ""))
    check_may_do(account.roles, "" if operation is None else str(operation.action))
    connection.scope["user"] = account


def account_of(request: Request[Any, Any, Any]) -> Account:
    """The account that the guard found."""
    account: Account = request.scope["user"]
    return account


def client_of(connection: ASGIConnection[Any, Any, Any, Any]) -> str:
    """The address that the request came from; behind a proxy it is the one that a trusted proxy names."""
    client = connection.scope.get("client")
    return client[0] if client else "unknown"
