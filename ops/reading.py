"""Reading from another service over HTTP: bytes at an address, within a time and a length."""

from __future__ import annotations

import http.client
import urllib.error
import urllib.parse
import urllib.request

from ledger.errors import MalformedInput, NotFound, StoreUnavailable, TooLarge

TIMEOUT_S = 30.0
_BLOCK = 1 << 16


class Address:
    """One service. Nothing is sent to another host: a redirect is an error."""

    def __init__(self, url: str, token: str = "", timeout_s: float = TIMEOUT_S) -> None:
        """``token``: a bearer token, where what is read needs a role. Raises MalformedInput for no http or https address."""
        parts = urllib.parse.urlsplit(url)
        if parts.scheme not in {"http", "https"} or not parts.netloc:
            raise MalformedInput("address is none of a service", expected="https://host[:port][/path]", got=url)
        self.url = url.rstrip("/")
        self._token = token
        self._timeout_s = timeout_s
        self._opener = urllib.request.build_opener(_NoRedirect())

    def read(self, path: str, limit: int) -> bytes:
        """What stands at ``path``. Raises NotFound, TooLarge, or StoreUnavailable for anything else that goes wrong."""
        where = f"{self.url}/{path}"
        request = urllib.request.Request(where)  # noqa: S310  # http or https, see above
        if self._token:
            request.add_header("authorization", f"Bearer {self._token}")
        try:
            with self._opener.open(request, timeout=self._timeout_s) as answer:
                return _whole(answer, limit, where)
        except urllib.error.HTTPError as error:
            error.close()
            if error.code in {404, 410}:
                raise NotFound("nothing stands there", got=error.code, where=where) from error
            raise StoreUnavailable("service refuses it", got=error.code, where=where) from error
        except (OSError, http.client.HTTPException) as error:
            raise StoreUnavailable("service does not answer", got=str(error), where=where) from error


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Lets a redirect be the error that it is here."""

    def redirect_request(self, *_: object) -> None:
        return None


def _whole(answer: http.client.HTTPResponse, limit: int, where: str) -> bytes:
    parts: list[bytes] = []
    left = limit + 1
    while left and (block := answer.read(min(_BLOCK, left))):
        parts.append(block)
        left -= len(block)
    if not left:
        raise TooLarge("answer is too long", expected=f"at most {limit} bytes", where=where)
    return b"".join(parts)
