"""Dossiers: the evidence for a set of serials in one file that stands on its own."""

from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, post
from litestar.response import Stream
from msgspec import Meta

from api.operation import Operation, described
from api.parts import parts_of
from api.request_body import read_body
from api.sent_file import sent_file
from ledger.errors import TooLarge

MEDIA_TYPE = "application/zip"


class DossierWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which numbers, and what stays sealed for whoever gets the file.

    ``withheld``: recipes, suppliers, consignees; ``erasable``: people and notes.
    """

    serials: Annotated[tuple[Annotated[str, Meta(min_length=1, max_length=40)], ...], Meta(min_length=1)]
    withhold: tuple[Literal["withheld", "erasable"], ...] = ("withheld", "erasable")


WANTED = msgspec.json.Decoder(DossierWanted)


class Dossiers(Controller):
    """Evidence to hand over."""

    @post(
        "/dossiers",
        status_code=200,
        opt=described(
            Operation(
                "A dossier of a set of serials, as a zip file",
                "evidence",
                action="dossier",
                body=DossierWanted,
                media=MEDIA_TYPE,
                problems=(404, 413),
            )
        ),
    )
    async def write(self, request: Request[Any, Any, Any]) -> Stream:
        """Write a dossier and send it in pieces."""
        wanted = await read_body(request, WANTED)
        parts = parts_of(request)
        if len(wanted.serials) > parts.settings.dossier_limit:
            raise TooLarge(
                "too many serials for one dossier over HTTP",
                expected=f"at most {parts.settings.dossier_limit}",
                got=len(wanted.serials),
                where="serials",
                mend="ask for several dossiers, or export on the server",
            )
        headers = {"content-disposition": 'attachment; filename="dossier.zip"'}
        return await sent_file(
            lambda out: parts.long_reads.dossier(out, wanted.serials, wanted.withhold), MEDIA_TYPE, headers
        )
