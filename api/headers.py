"""Headers that every answer carries, whatever became of the request.

They are added as the answer leaves, since middleware does not see answers to unknown addresses and methods.  Pages load
nothing from another host: the content security policy says so to the browser, and a test says so to us.
"""

from typing import Any

from litestar.datastructures import MutableScopeHeaders

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# The viewer writes style attributes; it is the only page whose policy differs.
_VIEWER_POLICY = _POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")

VIEWER_PATH = "/docs"

FIXED = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
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
    message.setdefault("headers", [])
    headers = MutableScopeHeaders(message)
    path: str = scope.get("path", "")
    for name, value in FIXED.items():
        headers.setdefault(name, value)
    if path.startswith(PUBLIC_READS):
        headers["cross-origin-resource-policy"] = "cross-origin"
        headers.setdefault("access-control-allow-origin", "*")
    headers.setdefault("content-security-policy", _VIEWER_POLICY if path == VIEWER_PATH else _POLICY)
    if "authorization" in _names(scope):
        headers.setdefault("cache-control", "no-store")
    else:
        headers.setdefault("cache-control", "no-cache")


def _names(scope: Any) -> set[str]:
    return {name.decode("latin-1") for name, _ in scope.get("headers", ())}
