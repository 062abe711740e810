"""Answers from a standby, each with its age; a store that has one is a `ledger.store.followed_store.FollowedStore`.

An operation that `may_lag` is answered from the standby where that is young enough and has all that who asks has seen: the
size of the book after their last write, which is kept by account here, sent back as ``pourbook-size``, and as a cookie of
that name to browsers (so another process of the service knows it too).  Who asks may send that header themselves, to be
shown at least so many entries.

Only what succeeds is answered from there.  A refusal, something that is not found, or a look that the standby gave up is
asked again, of the primary, before anything is sent.  An answer from the standby says so in three headers:
``pourbook-as-of`` (all that was committed then is in it), ``pourbook-age`` (seconds) and ``pourbook-size``; pages in a line.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Any

from api.same_site import SAFE
from ledger.book.instant import Instant, format_instant
from ledger.errors import StoreUnavailable
from ledger.store.look import Look, Shown, look_at_hand, looking

if TYPE_CHECKING:
    from api.delivery import Delivery
    from api.operation import Operation
    from api.settings import Settings

SIZE, AS_OF, AGE = "pourbook-size", "pourbook-as-of", "pourbook-age"
MOST_KEPT = 10_000

_LOOK, _LEAST, _AGAIN = "pourbook-look", "pourbook-least", "pourbook-again"
_CLEAR = (SIZE.encode(), AS_OF.encode(), AGE.encode())


class Lagging:
    """Stands in front of the application and has it asked again where the standby did not do."""

    def __init__(self, app: Any, delivery: Delivery, settings: Settings) -> None:
        """``app`` finds in its scope under which look it is asked."""
        self._app = app
        self._delivery = delivery
        # Past the limit the standby has it, or is not asked.
        self._lasts_s = int(settings.read_limit_s) + 60
        self._written: dict[str, int] = {}

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One ASGI call."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        if not await self._ask(self._copied(scope), receive, send):
            await self._ask(self._copied(scope, again=True), _nothing_more, send)

    def _copied(self, scope: Any, *, again: bool = False) -> dict[str, Any]:
        """A scope of its own for one way through the application, which keeps what it finds out in it."""
        return {**scope, "state": dict(scope.get("state", {})), _LEAST: self._least, _AGAIN: again}

    async def _ask(self, scope: Any, receive: Any, send: Any) -> bool:
        """Ask once; False where nothing was sent, since it has to be asked again."""
        withheld = False

        async def sending(message: Any) -> None:
            nonlocal withheld
            if message["type"] == "http.response.start":
                withheld = look.shown is not None and look.short and message["status"] >= 400
                if not withheld:
                    message = {**message, "headers": [*message.get("headers", ()), *self._told(scope, look)]}
            if not withheld:
                await send(message)

        with looking(Look()) as look:
            scope[_LOOK] = look
            try:
                await self._app(scope, receive, sending)
            except Exception:
                # What the framework answers with a 500 it also raises, so that the server may tell it.
                if not withheld:
                    raise
        return not withheld

    def _told(self, scope: Any, look: Look) -> list[tuple[bytes, bytes]]:
        if look.shown is not None:
            return _headers(look.shown)
        if scope["method"] in SAFE:
            return []
        return self._after_write(scope)

    def _after_write(self, scope: Any) -> list[tuple[bytes, bytes]]:
        """Remember what who writes has seen, and have them say it when they ask next."""
        size = self._delivery.size
        user = scope.get("user")
        if user is not None:
            if len(self._written) >= MOST_KEPT:
                self._written.clear()
            self._written[user.account] = size
        told = [(SIZE.encode(), str(size).encode())]
        if any(name == b"cookie" for name, _ in scope["headers"]):
            cookie = f"{SIZE}={size}; Max-Age={self._lasts_s}; Path=/; HttpOnly; SameSite=Lax"
            told.append((b"set-cookie", cookie.encode()))
        return told

    def _least(self, scope: Any) -> int:
        """The entries that who asks has seen, as far as is known."""
        user = scope.get("user")
        seen = [0 if user is None else self._written.get(user.account, 0)]
        for name, value in scope["headers"]:
            if name == SIZE.encode():
                seen.append(_number(value.decode("latin-1")))
            elif name == b"cookie":
                seen.append(_cookie_size(value.decode("latin-1")))
        return max(seen)


def let_lag(scope: Any, operation: Operation | None) -> None:
    """The guard has let a request through: from here on a standby may answer it, if its operation may lag."""
    look = scope.get(_LOOK)
    if look is not None and operation is not None and operation.may_lag and not asked_again(scope):
        look.allow(scope[_LEAST](scope), short=scope["method"] in SAFE)


def asked_again(scope: Any) -> bool:
    """Whether a request is asked a second time, of the primary."""
    return bool(scope.get(_AGAIN))


def is_withheld(scope: Any) -> bool:
    """Whether a refusal will not be sent, since the standby is where it comes from."""
    look = scope.get(_LOOK)
    return look is not None and look.shown is not None and look.short


def shown_at_hand() -> Shown | None:
    """What the standby showed for the answer at hand; None for an answer of the primary."""
    look = look_at_hand()
    return None if look is None else look.shown


def check_newest(*, found: bool) -> None:
    """Where a standby does not have what is looked for, the primary is asked: it may have come since."""
    if not found and shown_at_hand() is not None:
        raise StoreUnavailable("the read store does not have it", mend="ask again: the store itself is asked then")


def _headers(shown: Shown) -> list[tuple[bytes, bytes]]:
    as_of = format_instant(Instant(shown.as_of_ms, 0))
    age = f"{shown.age_ms / 1000:.3f}"
    return [(name, text.encode()) for name, text in zip(_CLEAR, (str(shown.size), as_of, age), strict=True)]


def _cookie_size(header: str) -> int:
    try:
        cookie = SimpleCookie(header).get(SIZE)
    except CookieError:
        return 0
    return 0 if cookie is None else _number(cookie.value)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 16 else 0


async def _nothing_more() -> Any:
    """The body of a request without one, received once more."""
    return {"type": "http.request", "body": b"", "more_body": False}
