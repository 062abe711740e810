"""A small OpenID provider over HTTP: description, authorization, token, keys. It checks what it is sent, and can be told to lie."""

from __future__ import annotations

import base64
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from joserfc import jwk, jwt

CLIENT = "pourbook"
SECRET = "a secret: of + the client"


class OpenIdProvider:
    """One provider. ``claims`` are added to those of each ID token, over them; None takes one out."""

    def __init__(self) -> None:
        """Two keys, the first of which is in use."""
        self.issuer = ""
        self.first, self.second = (jwk.RSAKey.generate_key(2048, {"kid": kid, "use": "sig"}) for kid in ("one", "two"))
        self.keys_asked = 0
        self._codes: dict[str, dict[str, str]] = {}
        self.reset()

    def reset(self) -> None:
        """Vouch for the quality lead, honestly, with the first key."""
        self.claims: dict[str, Any] = {"preferred_username": "The quality"}
        self.key = self.first
        self.published: list[Any] = [self.first]
        self.answers_token: bytes | None = None

    def address(self, path: str, query: dict[str, str]) -> tuple[int, dict[str, str], bytes]:
        """Answer a GET."""
        if path == "/.well-known/openid-configuration":
            ends = {"authorization_endpoint": "authorize", "token_endpoint": "token", "jwks_uri": "keys"}
            return _json({"issuer": self.issuer, **{name: f"{self.issuer}/{end}" for name, end in ends.items()}})
        if path == "/keys":
            self.keys_asked += 1
            return _json({"keys": [key.as_dict(private=False) for key in self.published]})
        if path == "/authorize" and {"code", "S256", CLIENT} <= set(query.values()) and "openid" in query["scope"]:
            code = secrets.token_urlsafe(16)
            self._codes[code] = query
            back = f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"
            return 302, {"location": back}, b""
        return 404, {}, b""

    def token(self, form: dict[str, str], authorization: str) -> tuple[int, dict[str, str], bytes]:
        """Answer a token request: client, code, place to come back to and PKCE verifier must be right, and a code works once."""
        asked = self._codes.pop(form.get("code", ""), None)
        basic = base64.b64encode(f"{CLIENT}:a+secret%3A+of+%2B+the+client".encode()).decode()
        challenge = base64.urlsafe_b64encode(sha256(form.get("code_verifier", "").encode()).digest()).rstrip(b"=")
        if (
            asked is None
            or authorization != f"Basic {basic}"
            or form.get("grant_type") != "authorization_code"
            or form.get("redirect_uri") != asked["redirect_uri"]
            or challenge.decode() != asked["code_challenge"]
        ):
            return 400, {}, b'{"error": "invalid_grant"}'
        if self.answers_token is not None:
            return 200, {"content-type": "application/json"}, self.answers_token
        return _json({"access_token": "x", "token_type": "Bearer", "id_token": self.id_token(asked["nonce"])})

    def id_token(self, nonce: str) -> str:
        """A signed ID token."""
        now = int(time.time())
        said = {
            "iss": self.issuer,
            "aud": CLIENT,
            "sub": "s-1",
            "iat": now,
            "exp": now + 300,
            "nonce": nonce,
            **self.claims,
        }
        claims = {name: value for name, value in said.items() if value is not None}
        return jwt.encode({"alg": "RS256", "kid": self.key.kid}, claims, self.key)


def _json(value: Any) -> tuple[int, dict[str, str], bytes]:
    return 200, {"content-type": "application/json"}, json.dumps(value).encode()


@contextmanager
def openid_provider() -> Iterator[OpenIdProvider]:
    """A provider that answers on a loopback port for the length of the block."""
    provider = OpenIdProvider()

    class Handler(BaseHTTPRequestHandler):
        """Hands requests to the provider."""

        def do_GET(self) -> None:  # the name that the server looks for
            """One GET."""
            asked = urlsplit(self.path)
            self._answer(*provider.address(asked.path, dict(parse_qsl(asked.query))))

        def do_POST(self) -> None:  # as above
            """One POST."""
            form = self.rfile.read(int(self.headers.get("content-length", 0))).decode()
            self._answer(*provider.token(dict(parse_qsl(form)), self.headers.get("authorization", "")))

        def log_message(self, *_said: Any) -> None:
            """Say nothing."""

        def _answer(self, status: int, headers: dict[str, str], content: bytes) -> None:
            self.send_response(status)
            for name, value in {**headers, "content-length": str(len(content))}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(content)

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, name="provider")
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
