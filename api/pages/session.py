"""The session of a browser: which account its cookies stand for, and what its forms must say.

Cookies: ``pourbook`` of a person who signed in, ``pourbook-device`` of an enrolled device; over https both bear the
prefix ``__Host-`` and the attribute Secure (RFC 6265bis section 4.1.3.2, from memory), so that neither another host of
the domain nor an unprotected connection can set them.  Both are HttpOnly, SameSite=Lax, for the whole host.  A person's
cookie goes before the device's: who signs in over a device is that person there until the session ends.

Sessions are kept for as long as tokens are (`api.guards`): one that ended in another process may go on for that long.
"""

import asyncio
import time
from collections.abc import Callable
from typing import Any

import msgspec
from litestar import Response
from litestar.connection import ASGIConnection
from litestar.datastructures import Cookie

from ledger.access.cookies import Holder, cookie_digest, form_token, is_form_token
from ledger.access.tokens import Account
from ledger.application.devices import device_account
from ledger.application.sign_in import session_account
from ledger.errors import Unauthenticated
from ledger.store.engine import Store
from ledger.store.sessions import LASTS_MS

MOST_KEPT = 10_000
DEVICE_COOKIE_S = 365 * 24 * 3600

_NAMES: dict[Holder, str] = {"session": "pourbook", "device": "pourbook-device"}


class DeviceSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The device at which a page is looked at; ``stage`` is where it stands, or None."""

    device: str
    name: str
    stage: str | None


class BrowserSession(msgspec.Struct, frozen=True, kw_only=True):
    """What a request's cookies stand for.

    ``person``: somebody signed in; else it is a device by itself.  ``cookie`` is the one that counted.
    """

    account: str
    name: str | None
    roles: tuple[str, ...]
    person: bool
    cookie: str
    language: str | None = None
    must_change: bool = False
    device: DeviceSeen | None = None

    @property
    def form_token(self) -> str:
        """What a form's hidden field ``form_token`` must say."""
        return form_token(self.cookie)

    @property
    def digest(self) -> str:
        """The digest by which the store knows this session or device."""
        return cookie_digest("session" if self.person else "device", self.cookie)

    def says(self, said: str) -> bool:
        """Whether a form said this session's token."""
        return is_form_token(self.cookie, said)

    def as_account(self) -> Account:
        """The account that it speaks for."""
        return Account(self.account, self.roles)


class Sessions:
    """Knows browsers by their cookies."""

    def __init__(
        self,
        store: Store,
        memory_s: float,
        *,
        clock_ms: Callable[[], int],
        secure_cookies: bool = False,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Keep each session for ``memory_s`` seconds after it was looked up; ``clock_ms`` is the wall clock."""
        self._store = store
        self._memory_s = memory_s
        self._clock_ms = clock_ms
        self._secure_cookies = secure_cookies
        self._clock_s = clock_s
        self._kept: dict[tuple[str, str], tuple[BrowserSession, float]] = {}

    async def find(self, connection: ASGIConnection[Any, Any, Any, Any]) -> BrowserSession | None:
        """What a request's cookies stand for; None where they stand for nobody."""
        person, device = (self.cookie_of(connection, holder) for holder in ("session", "device"))
        if not person and not device:
            return None
        kept = self._kept.get((person, device))
        if kept is not None and self._clock_s() < kept[1]:
            return kept[0]
        found = await asyncio.to_thread(self._look_up, person, device)
        if found is not None:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[person, device] = (found, self._clock_s() + self._memory_s)
        return found

    def forget(self) -> None:
        """Look every session up anew: after one was ended here."""
        self._kept.clear()

    def is_secure(self, connection: ASGIConnection[Any, Any, Any, Any]) -> bool:
        """Whether cookies of this request go over https alone."""
        return self._secure_cookies or connection.scope["scheme"] == "https"

    def cookie_of(self, connection: ASGIConnection[Any, Any, Any, Any], holder: Holder) -> str:
        """The text of a cookie as sent, empty where there is none."""
        return connection.cookies.get(_name(holder, secure=self.is_secure(connection)), "")

    def give(
        self, connection: ASGIConnection[Any, Any, Any, Any], response: Response[Any], holder: Holder, cookie: str
    ) -> None:
        """Have the browser keep a cookie; empty text has it forget."""
        secure = self.is_secure(connection)
        lasts_s = LASTS_MS // 1000 if holder == "session" else DEVICE_COOKIE_S
        response.set_cookie(
            Cookie(
                key=_name(holder, secure=secure),
                value=cookie,
                max_age=lasts_s if cookie else 0,
                path="/",
                secure=secure,
                httponly=True,
                samesite="lax",
            )
        )

    def _look_up(self, person: str, device: str) -> BrowserSession | None:
        standing = self._device(device)
        try:
            session = session_account(self._store, person, self._clock_ms())
        except Unauthenticated:
            return standing
        return BrowserSession(
            account=session.account,
            name=session.name,
            roles=tuple(sorted(session.roles)),
            person=True,
            cookie=person,
            language=session.language,
            must_change=session.must_change,
            device=None if standing is None else standing.device,
        )

    def _device(self, cookie: str) -> BrowserSession | None:
        try:
            device, account = device_account(self._store, cookie)
        except Unauthenticated:
            return None
        return BrowserSession(
            account=account.account,
            name=device.account_name,
            roles=account.roles,
            person=False,
            cookie=cookie,
            device=DeviceSeen(device=device.device, name=device.name, stage=device.stage),
        )


def session_at(connection: ASGIConnection[Any, Any, Any, Any]) -> BrowserSession | None:
    """The session that the guard found for a request; None for a token, for nobody, and before the guard."""
    session = connection.scope.get("session")
    return session if isinstance(session, BrowserSession) else None


def _name(holder: Holder, *, secure: bool) -> str:
    return f"__Host-{_NAMES[holder]}" if secure else _NAMES[holder]
