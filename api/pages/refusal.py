"""A refused request answered as a page: the same code, problem, place and mend as the problem+json, for a person.

Who is not signed in is sent to the sign-in page, and from there back to where they wanted to be; who must first choose
a password is sent to do so.  Back means an address of this service alone (`local_address`).
"""

from typing import Any
from urllib.parse import quote, urlsplit

from litestar import Request, Response

from api.pages import HTML
from api.pages.page import page
from api.pages.session import session_at
from api.problems import Problem
from api.same_site import SAFE

FRONT = "/"
SIGN_IN = "/sign-in"
ACCOUNT = "/account"

_IN_ADDRESS = "%:/?#[]@!$&'()*+,;="
"""Reserved characters of an address and the sign of what is in percent form already (RFC 3986 section 2.2)."""


def refusal(request: Request[Any, Any, Any], problem: Problem, headers: dict[str, str]) -> Response[bytes]:
    """The page, or the way to the page that must come first."""
    session = session_at(request)
    if problem.status == 401:
        return see_other(f"{SIGN_IN}?next={quote(wanted_address(request), safe='')}")
    if problem.status == 403 and session is not None and session.must_change and request.scope["path"] != ACCOUNT:
        return see_other(ACCOUNT)
    return page(
        request, "refusal.html", status=problem.status, headers=headers, problem=problem, wait_s=_wait_s(headers)
    )


def _wait_s(headers: dict[str, str]) -> int | None:
    """The seconds after which it may be tried again (``Retry-After``, RFC 9110 section 10.2.3); None where none are said."""
    said = headers.get("retry-after", "")
    return int(said) if said.isdigit() else None


def see_other(address: str) -> Response[bytes]:
    """Send a browser on with a GET (303, RFC 9110 section 15.4.4).

    What may not stand in an address goes out in percent form: a part of it may be what somebody typed.
    """
    safe = quote(address, safe=_IN_ADDRESS, errors="replace")
    return Response(content=b"", media_type=HTML, status_code=303, headers={"location": safe})


def wanted_address(request: Request[Any, Any, Any]) -> str:
    """Where a person wanted to be: the address asked for, or the page whose form was sent."""
    if request.method in SAFE:
        query = request.scope["query_string"].decode("latin-1")
        path = request.scope["raw_path"].decode("latin-1")
        return local_address(path + (f"?{query}" if query else ""))
    sent_from = urlsplit(request.headers.get("referer", ""))
    if sent_from.netloc != request.headers.get("host", ""):
        return FRONT
    return local_address(sent_from.path + (f"?{sent_from.query}" if sent_from.query else ""))


def local_address(text: str) -> str:
    """``text`` if it is a path of this service, with or without a query; else the front page.

    A browser takes ``//host``, ``/\\host`` and a path with a tab or line end in it for another host.
    """
    if (
        not text.startswith("/")
        or text[1:2] in {"/", "\\"}
        or len(text) > 2000
        or not text.isascii()
        or any(sign <= " " or sign in '\\"<>\x7f' for sign in text)
    ):
        return FRONT
    return text
