"""Pages for people: the front page, the description of the service and its viewer, problems explained, and files.

The viewer comes from an installed package and reads OpenAPI 3.0, so it is given the same document in that form.
"""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.openapi import Description
from api.operation import Operation, described
from api.pages import FILES, HTML, VIEWER, prefers_html
from api.pages.catalogue import LANGUAGES
from api.pages.page import LANGUAGE_COOKIE, page
from api.pages.refusal import local_address, see_other
from api.parts import file_answer, json_answer
from api.problems import Explanation, explanations
from ledger.errors import NotFound

_FILE = {"cache-control": "public, max-age=3600"}
_WORKER = "stations-worker.js"
"""The one script that may answer for pages outside its own folder (W3C Service Workers, Service-Worker-Allowed)."""


class Pages(Controller):
    """What a browser may look at without an account."""

    @get("/", opt=described(Operation("The front page", "pages", media=HTML, page=True)))
    async def front(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What an account may do here, and the cautions."""
        return page(request, "front.html")

    @get(
        "/language/{code:str}",
        status_code=303,
        opt=described(Operation("Choose a language", "pages", media=HTML, page=True)),
    )
    async def language(self, request: Request[Any, Any, Any], code: FromPath[str]) -> Response[bytes]:
        """Remember the language in the browser, and go back to where it was chosen."""
        if code not in LANGUAGES:
            raise NotFound("no such language", expected=", ".join(LANGUAGES), got=code, where="code")
        answer = see_other(local_address(request.query_params.get("next", "/")))
        answer.set_cookie(
            key=LANGUAGE_COOKIE, value=code, max_age=365 * 86_400, path="/", samesite="lax", httponly=True
        )
        return answer

    @get("/docs", opt=described(Operation("The viewer of this description", "public", media=HTML)))
    async def viewer(self, request: Request[Any, Any, Any]) -> Response[bytes]:  # noqa: ARG002  # the router gives it
        """The OpenAPI document for a person."""
        return Response(content=VIEWER, media_type=HTML)

    @get("/openapi.json", opt=described(Operation("This description, OpenAPI 3.1", "public")))
    async def document(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The OpenAPI document."""
        return json_answer(await asyncio.to_thread(lambda: _description(request).document))

    @get("/docs/openapi-3.0.json", opt=described(Operation("This description for the viewer, OpenAPI 3.0", "public")))
    async def viewer_document(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The same document in the older form."""
        return json_answer(await asyncio.to_thread(lambda: _description(request).viewer_document))

    @get(
        "/problems/{code:str}",
        opt=described(Operation("A problem explained by its code", "public", answer=Explanation, problems=(404,))),
    )
    async def problem(self, request: Request[Any, Any, Any], code: FromPath[str]) -> Response[bytes]:
        """What a problem's code means, as HTML or JSON."""
        found = explanations().get(code)
        if found is None:
            raise NotFound("no problem has this code", got=code, where="code", mend="use the code of a problem as sent")
        headers = {"vary": "Accept"}
        if prefers_html(request):
            return page(request, "problem.html", problem=found)
        return json_answer(found, headers=headers)

    @get(
        "/static/{name:str}",
        opt=described(Operation("A file that a page loads", "public", media="*/*", problems=(404,))),
    )
    async def file(self, request: Request[Any, Any, Any], name: FromPath[str]) -> Response[bytes]:  # noqa: ARG002  # as routed
        """One of a fixed set of files."""
        if name not in FILES:
            raise NotFound("no such file", got=name, where="name")
        content, media_type = FILES[name]
        headers = {**_FILE, "service-worker-allowed": "/station"} if name == _WORKER else _FILE
        return file_answer(content, media_type, headers=headers)


def _description(request: Request[Any, Any, Any]) -> Description:
    found: Description = request.app.state.description
    return found
