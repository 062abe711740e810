"""People with accounts: for the system keeper. A password or token that is made here is shown once, on the answer itself."""

import asyncio
import secrets
from collections.abc import Callable
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Fault, fault_of, read_form
from api.pages.access.shown import show
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.access.roles import ROLES
from ledger.application.people import change_roles, close_person, open_person
from ledger.application.sign_in import set_password
from ledger.errors import LedgerError, NotFound
from ledger.store.accounts import Account, issue_token, list_accounts, list_tokens, revoke_token
from ledger.store.engine import Store

PEOPLE = "/people"


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="accounts", media=HTML, page=True))


class People(Controller):
    """The keeper's page of accounts."""

    path = PEOPLE

    @get(opt=_described("People with accounts"))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every account in use, and the form for a new one."""
        return await _page(request)

    @post(status_code=200, opt=_described("Open an account"))
    async def opened(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new account with a first password, made here if none was typed."""
        parts = parts_of(request)
        form = await read_form(request)
        name, roles, typed = form.text("name"), form.every("roles"), form.exact("password")
        password = typed or secrets.token_urlsafe(12)
        try:
            account = await parts.long_read(open_person, parts.book.store, name, roles, password, parts.book.clock_ms())
        except LedgerError as error:
            return await _page(request, fault=fault_of(error), status=422, typed=(name, roles))
        if typed:
            return see_other(PEOPLE)
        return await _page(request, made=(account, password))

    @get("/{account:str}", opt=_described("One account"))
    async def one(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """What may be changed about an account."""
        return await _person_page(request, account)

    @post("/{account:str}/password", status_code=200, opt=_described("Give a new first password"))
    async def password(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """A password that was forgotten is replaced by one made here; the account's sessions end."""
        parts = parts_of(request)
        password = secrets.token_urlsafe(12)
        try:
            await parts.long_read(
                set_password, parts.book.store, account, password, parts.book.clock_ms(), must_change=True
            )
        except LedgerError as error:
            return await _person_page(request, account, fault=fault_of(error), status=422)
        parts.sessions.forget()
        return await _person_page(request, account, made=("password", password))

    @post("/{account:str}/roles", status_code=303, opt=_described("Change the roles of an account"))
    async def roles(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """Replace an account's roles."""
        roles = (await read_form(request)).every("roles")
        return await _changed(request, account, change_roles, roles)

    @post("/{account:str}/close", status_code=303, opt=_described("Close an account"))
    async def closed(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """End an account and every way in."""
        return await _changed(request, account, close_person, parts_of(request).book.clock_ms())

    @post("/{account:str}/tokens", status_code=200, opt=_described("Make a token"))
    async def token(self, request: Request[Any, Any, Any], account: FromPath[str]) -> Response[bytes]:
        """A token for a program; it is shown once."""
        parts = parts_of(request)
        token = await asyncio.to_thread(issue_token, parts.book.store, account, parts.book.clock_ms())
        return await _person_page(request, account, made=("token", token))

    @post("/{account:str}/tokens/{digest:str}/end", status_code=303, opt=_described("End a token"))
    async def token_ended(
        self, request: Request[Any, Any, Any], account: FromPath[str], digest: FromPath[str]
    ) -> Response[bytes]:
        """A token that no longer works."""
        parts = parts_of(request)
        await asyncio.to_thread(revoke_token, parts.book.store, digest, parts.book.clock_ms())
        parts.identity.forget()
        return see_other(f"{PEOPLE}/{account}")


async def _changed(
    request: Request[Any, Any, Any], account: str, change: Callable[[Store, str, Any, str], None], to: Any
) -> Response[bytes]:
    """Change an account, and look everyone up anew."""
    parts = parts_of(request)
    try:
        await asyncio.to_thread(change, parts.book.store, account, to, account_of(request).account)
    except LedgerError as error:
        return await _person_page(request, account, fault=fault_of(error), status=422)
    parts.identity.forget()
    parts.sessions.forget()
    return see_other(PEOPLE)


async def _page(
    request: Request[Any, Any, Any],
    *,
    fault: Fault | None = None,
    status: int = 200,
    typed: tuple[str, tuple[str, ...]] = ("", ()),
    made: tuple[Account, str] | None = None,
) -> Response[bytes]:
    rows = await asyncio.to_thread(list_accounts, parts_of(request).book.store)
    return show(
        request,
        "people.html",
        fault=fault,
        status=status,
        people=sorted((row for row in rows if row.closed_ms is None), key=_by_name),
        all_roles=ROLES,
        name=typed[0],
        chosen=typed[1],
        made=made,
        me=account_of(request).account,
    )


def _by_name(account: Account) -> tuple[bool, str, str]:
    """As people look for a name; those whose name was erased come last."""
    return account.name is None, (account.name or "").casefold(), account.account


async def _person_page(
    request: Request[Any, Any, Any],
    account: str,
    *,
    fault: Fault | None = None,
    status: int = 200,
    made: tuple[str, str] | None = None,
) -> Response[bytes]:
    store = parts_of(request).book.store
    rows = await asyncio.to_thread(list_accounts, store)
    person = next((row for row in rows if row.account == account and row.closed_ms is None), None)
    if person is None:
        raise NotFound("account is not open", got=account, where="account")
    return show(
        request,
        "person.html",
        fault=fault,
        status=status,
        person=person,
        tokens=await asyncio.to_thread(list_tokens, store, account),
        all_roles=ROLES,
        made=made,
        me=account_of(request).account,
    )
