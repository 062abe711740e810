"""The page that checks dossiers in a browser, and its SHA-256: published apart from any dossier that carries it.

A page inside a file that nobody trusts yet proves nothing by itself; this is where a reader finds what it must be.
"""

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.parts import file_answer, json_answer
from ledger.evidence.files import VERIFY_PAGE, verify_page, verify_page_digest

HTML = "text/html; charset=utf-8"


class VerifierPage(msgspec.Struct, frozen=True, kw_only=True):
    """The page: its name in a dossier, its SHA-256 (64 lower hex digits), its length in bytes, and where it can be had."""

    file: str
    sha256: str
    bytes: int
    address: str


class Verifier(Controller):
    """For whoever was given a dossier; no account is needed."""

    @get(
        "/verifier", opt=described(Operation("Which page checks dossiers in a browser", "proofs", answer=VerifierPage))
    )
    async def stated(self, request: Request[Any, Any, Any]) -> Response[bytes]:  # noqa: ARG002  # the router gives it
        """The digest to compare a page with."""
        page = VerifierPage(
            file=VERIFY_PAGE,
            sha256=verify_page_digest(),
            bytes=len(verify_page()),
            address=f"/verifier/{VERIFY_PAGE}",
        )
        return json_answer(page)

    @get(f"/verifier/{VERIFY_PAGE}", opt=described(Operation("The page that checks dossiers", "proofs", media=HTML)))
    async def page(self, request: Request[Any, Any, Any]) -> Response[bytes]:  # noqa: ARG002  # the router gives it
        """The page, to be kept and opened from disk: a browser saves it, since it is not one of the service's own pages."""
        return file_answer(verify_page(), HTML, name=VERIFY_PAGE)
