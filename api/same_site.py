"""Whether a request that changes something comes from a page of this service: against forged requests of other sites.

Browsers say where a request comes from in ``Sec-Fetch-Site`` (W3C Fetch Metadata), over plain http to another machine
only in ``Origin`` (RFC 6454 section 7).  What says nothing comes from no browser.  Beyond this, a request that rests on a
cookie must say the form token of its session; OWASP Cross-Site Request Forgery Prevention, from memory.
"""

from typing import Any
from urllib.parse import urlsplit

from litestar import Request
from litestar.connection import ASGIConnection
from litestar.datastructures import FormMultiDict

from api.pages.session import BrowserSession
from ledger.errors import Forbidden

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
TOKEN_HEADER = "x-form-token"  # noqa: S105  # a header's name
TOKEN_FIELD = "form_token"  # noqa: S105  # a field's name

_FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


def check_same_site(connection: ASGIConnection[Any, Any, Any, Any]) -> None:
    """Return if a request comes from a page of this host, or from no page at all. Raises Forbidden."""
    headers = connection.headers
    site = headers.get("sec-fetch-site")
    origin = headers.get("origin")
    if site is not None:
        own = site in {"same-origin", "none"}
    elif origin is not None:
        own = urlsplit(origin).netloc.lower() == headers.get("host", "").lower() != ""
    else:
        own = True
    if not own:
        raise Forbidden(
            "request comes from a page of another site",
            where="Sec-Fetch-Site" if site is not None else "Origin",
            mend="open the page here and send it from there",
        )


async def check_form_token(
    connection: ASGIConnection[Any, Any, Any, Any], session: BrowserSession, *, in_form: bool
) -> None:
    """Return if a request says its session's form token: in the header, or with ``in_form`` in the form. Raises Forbidden.

    A form that was read for it is kept with the request, so the handler reads it again at no cost.
    """
    said = connection.headers.get(TOKEN_HEADER, "")
    form: FormMultiDict | None = None
    if not said and in_form and isinstance(connection, Request) and connection.content_type[0] in _FORMS:
        form = await connection.form()
        said = str(form.get(TOKEN_FIELD, ""))
    if not session.says(said):
        if form is not None:
            # The framework closes the files of a form once a handler had it; this one has none.
            await form.close()
        raise Forbidden(
            "request does not say the form token of this session",
            where=TOKEN_FIELD if in_form else TOKEN_HEADER,
            mend="load the page again and send it from there",
        )
