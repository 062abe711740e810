"""A small client of the service: JSON over HTTP with a bearer token, as any station could write it."""

from __future__ import annotations

import json
import urllib.error
import urllib.parse
import urllib.request
from typing import Any

from ledger.errors import Refused, StoreUnavailable

TIMEOUT_S = 60
JSON = "application/json"


class Client:
    """Speaks to one service at an address, for one person at a time."""

    def __init__(self, address: str, tokens: dict[str, str]) -> None:
        """``tokens``: bearer token by account key."""
        self.address = address
        self._tokens = tokens
        # No proxy: the service is on this machine.
        self._opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))

    def get(self, path: str, who: str = "", **query: str) -> Any:
        """The JSON that an address answers with. Raises Refused."""
        return json.loads(self.read(path, who, **query))

    def read(self, path: str, who: str = "", **query: str) -> bytes:
        """The bytes that an address answers with. Raises Refused."""
        asked = f"{path}?{urllib.parse.urlencode(query)}" if query else path
        return self._ask("GET", asked, who, None)

    def post(self, path: str, who: str, body: Any, key: str = "") -> Any:
        """Send JSON; the JSON that comes back. ``key`` is the idempotency key. Raises Refused."""
        return json.loads(self.post_for_bytes(path, who, body, key))

    def post_for_bytes(self, path: str, who: str, body: Any, key: str = "") -> bytes:
        """Send JSON; the bytes that come back. Raises Refused."""
        return self._ask("POST", path, who, json.dumps(body).encode(), key=key)

    def send(self, path: str, who: str, content: bytes, media_type: str, key: str = "") -> Any:
        """Send a file; the JSON that comes back. Raises Refused."""
        return json.loads(self._ask("POST", path, who, content, key=key, media_type=media_type))

    def _ask(
        self, method: str, path: str, who: str, body: bytes | None, *, key: str = "", media_type: str = JSON
    ) -> bytes:
        request = urllib.request.Request(self.address + path, data=body, method=method)  # noqa: S310  # our own address
        request.add_header("accept", JSON)
        if body is not None:
            request.add_header("content-type", media_type)
        if who:
            request.add_header("authorization", f"Bearer {self._tokens[who]}")
        if key:
            request.add_header("idempotency-key", key)
        try:
            with self._opener.open(request, timeout=TIMEOUT_S) as answer:
                content: bytes = answer.read()
        except urllib.error.HTTPError as error:
            raise _refused(error) from error
        except OSError as error:
            raise StoreUnavailable("service does not answer", got=str(error), where=self.address) from error
        return content


def _refused(error: urllib.error.HTTPError) -> Refused:
    """The refusal that a problem document (RFC 9457) tells."""
    try:
        said = json.loads(error.read())
    except ValueError:
        said = {}
    return Refused(
        said.get("detail", str(error.reason)), got=f"{error.code} {said.get('code', '')}", mend=said.get("mend", "")
    )
