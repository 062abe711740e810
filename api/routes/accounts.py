"""Accounts: opened, listed, given further tokens, closed. For the system keeper alone.

Accounts are no entries of the book: entries hold the random account id, and the name beside it can be erased.
"""

import asyncio
from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, Response, delete, get, post
from litestar.params import FromPath
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_body
from ledger.errors import Refused
from ledger.store.accounts import close_account, issue_token, list_accounts


class AccountWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Whom an account is for, and its roles."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    roles: Annotated[
        tuple[Literal["station", "inspector", "quality", "desk", "auditor", "admin"], ...],
        Meta(min_length=1, max_length=6),
    ]


class TokenGiven(msgspec.Struct, frozen=True, kw_only=True):
    """An account and its new token, which is told here and nowhere again."""

    account: str
    token: str


class AccountSeen(msgspec.Struct, frozen=True, kw_only=True):
    """An account; ``name`` is null once erased, ``open`` false once closed."""

    account: str
    name: str | None
    roles: tuple[str, ...]
    open: bool


class AccountsSeen(msgspec.Struct, frozen=True, kw_only=True):
    """Every account."""

    accounts: tuple[AccountSeen, ...]


WANTED = msgspec.json.Decoder(AccountWanted)


class Accounts(Controller):
    """The keeper's desk."""

    path = "/accounts"

    @get(opt=described(Operation("Every account", "keeper", action="accounts", answer=AccountsSeen)))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Accounts and their roles; no token."""
        rows = await asyncio.to_thread(list_accounts, parts_of(request).book.store)
        seen = tuple(
            AccountSeen(account=row.account, name=row.name, roles=tuple(sorted(row.roles)), open=row.closed_ms is None)
            for row in rows
        )
        return json_answer(AccountsSeen(accounts=seen))

    @post(
        opt=described(
            Operation(
                "Open an account; its token is told once",
                "keeper",
                action="accounts",
                body=AccountWanted,
                answer=TokenGiven,
                status=201,
            )
        )
    )
    async def opened(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new account."""
        wanted = await read_body(request, WANTED)
        book = parts_of(request).book
        account, token = await asyncio.to_thread(book.open_account, wanted.name, wanted.roles)
        return json_answer(TokenGiven(account=account.account, token=token), status=201)

    @post(
        "/{account:str}/tokens",
        opt=described(
            Operation(
                "A further token for an account",
                "keeper",
                action="accounts",
                answer=TokenGiven,
                status=201,
                problems=(404,),
            )
        ),
    )
    async def token(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """A new token; the earlier ones go on."""
        book = parts_of(request).book
        token = await asyncio.to_thread(issue_token, book.store, account, book.clock_ms())
        return json_answer(TokenGiven(account=account, token=token), status=201)

    @delete(
        "/{account:str}",
        status_code=204,
        opt=described(
            Operation(
                "Close an account: its tokens and sessions end at once here, within seconds elsewhere",
                "keeper",
                action="accounts",
                status=204,
                media="",
                problems=(404, 422),
            )
        ),
    )
    async def closed(self, request: Request[Any, Any, Any], account: FromPath[str]) -> None:
        """Close an account. What it said stands."""
        if account == account_of(request).account:
            raise Refused("an account cannot close itself", where="account", mend="let another keeper close it")
        parts = parts_of(request)
        await asyncio.to_thread(close_account, parts.book.store, account, parts.book.clock_ms())
        parts.identity.forget()
        parts.sessions.forget()
