"""Headers that every answer carries, whatever became of the request.

They are added as the answer leaves, since middleware does not see answers to unknown addresses and methods.  Pages load
nothing from another host: the content security policy says so to the browser, and a test says so to us.
"""

from functools import cache
from typing import Any

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# The viewer writes style attributes; it is the only page whose policy differs.
_VIEWER_POLICY = _POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")

VIEWER_PATH = "/docs"

FIXED = {
    "x-content-type-options": "nosniff",
    # Nothing to other hosts; a form of ours says where it comes from, which "no-referrer" would hide (`api.guards`).
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
"""Name and value of what every answer carries, besides the content security policy."""

PUBLIC_READS = ("/checkpoint", "/consistency", "/tile/", "/receipts/", "/01/")
"""Proofs and public answers: pages and tools of other hosts may read these."""


async def add_headers(message: Any, scope: Any) -> None:
    """Add the headers to the start of an answer; what a handler set itself stays."""
    if message["type"] != "http.response.start":
        return
    path: str = scope.get("path", "")
    added = _answer_headers(path.startswith(PUBLIC_READS), path == VIEWER_PATH, _shows_token(scope))
    sent = [(bytes(name).lower(), value) for name, value in message.get("headers", ())]
    own = {name for name, _ in sent}
    message["headers"] = sent + [(name, value) for name, value in added if name not in own]


@cache
def _answer_headers(public: bool, viewer: bool, personal: bool) -> tuple[tuple[bytes, bytes], ...]:  # noqa: FBT001  # the three things that headers differ by
    headers = dict(FIXED)
    if public:
        headers["cross-origin-resource-policy"] = "cross-origin"
        headers["access-control-allow-origin"] = "*"
    headers["content-security-policy"] = _VIEWER_POLICY if viewer else _POLICY
    headers["cache-control"] = "no-store" if personal else "no-cache"
    return tuple((name.encode(), value.encode()) for name, value in headers.items())


def _shows_token(scope: Any) -> bool:
    """Whether an answer is for one account alone: a token was sent, or a browser's session is at hand."""
    if scope.get("session") is not None:
        return True
    return any(name == b"authorization" for name, _ in scope.get("headers", ()))
