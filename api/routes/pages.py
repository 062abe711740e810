"""Pages for people: the front page, the description of the service and its viewer, problems explained, and files.

The viewer comes from an installed package and reads OpenAPI 3.0, so it is given the same document in that form.
"""

from typing import Any

from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import FILES, HTML, prefers_html, render
from api.parts import file_answer, json_answer, parts_of
from api.problems import Explanation, explanations
from ledger.conformity.verdict import CAUTION
from ledger.errors import NotFound

_FILE = {"cache-control": "public, max-age=3600"}


class Pages(Controller):
    """What a browser may look at without an account."""

    @get("/", opt=described(Operation("The front page", "public", media=HTML)))
    async def front(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What this is, where to look, and the cautions."""
        return render("front.html", origin=parts_of(request).book.origin, caution=CAUTION)

    @get("/docs", opt=described(Operation("The viewer of this description", "public", media=HTML)))
    async def viewer(self, request: Request[Any, Any, Any]) -> Response[bytes]:  # noqa: ARG002  # the router gives it
        """The OpenAPI document for a person."""
        return render("viewer.html")

    @get("/openapi.json", opt=described(Operation("This description, OpenAPI 3.1", "public")))
    async def document(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The OpenAPI document."""
        return json_answer(request.app.state.openapi)

    @get("/docs/openapi-3.0.json", opt=described(Operation("This description for the viewer, OpenAPI 3.0", "public")))
    async def viewer_document(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The same document in the older form."""
        return json_answer(request.app.state.openapi_viewer)

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
            return render("problem.html", headers=headers, problem=found)
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
        return file_answer(content, media_type, headers=_FILE)
