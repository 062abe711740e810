"""What every page of every test is held to: it asks no other host, logs no error, and is refused nothing unforeseen."""

from __future__ import annotations

from collections.abc import Collection
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, ConsoleMessage, Request, Response, WebError

# The browser logs every refused or failed request so; refusals are watched as answers, with their status.
_LOGGED_REQUEST = "Failed to load resource"


class Watch:
    """Notes the troubles of a context. ``refusals``: statuses of 400 and above that the test asks for."""

    def __init__(self, context: BrowserContext, address: str, refusals: Collection[int] = ()) -> None:
        """Watch every page that the context opens."""
        self.troubles: list[str] = []
        self.answers: list[Response] = []
        self.refusals = set(refusals)
        self._host = urlsplit(address).netloc
        context.on("request", self._requested)
        context.on("response", self._answered)
        context.on("console", self._logged)
        context.on("weberror", self._failed)

    def _requested(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in {"data", "blob", "about"} and parts.netloc != self._host:
            self.troubles.append(f"another host was asked: {request.url}")

    def _answered(self, response: Response) -> None:
        self.answers.append(response)
        if response.status >= 400 and response.status not in self.refusals:
            self.troubles.append(f"{response.status} for {response.request.method} {response.url}")

    def _logged(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"} and _LOGGED_REQUEST not in message.text:
            self.troubles.append(f"console {message.type}: {message.text} at {message.location}")

    def _failed(self, error: WebError) -> None:
        self.troubles.append(f"script error: {error.error}")
