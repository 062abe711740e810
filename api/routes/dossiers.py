"""Dossiers: the evidence for balls, by their numbers or as whole lots, in one file that stands on its own."""

from typing import Any

import msgspec
from litestar import Controller, Request, post
from litestar.response import Stream

from api.operation import Operation, described
from api.parts import parts_of
from api.request_body import read_body
from api.sent_file import sent_file
from ledger.application.dossier_wanted import DossierWanted

MEDIA_TYPE = "application/zip"


WANTED = msgspec.json.Decoder(DossierWanted)


class Dossiers(Controller):
    """Evidence to hand over."""

    @post(
        "/dossiers",
        status_code=200,
        opt=described(
            Operation(
                "A dossier of balls, by their numbers or as whole shell lots, as a zip file",
                "evidence",
                action="dossier",
                body=DossierWanted,
                media=MEDIA_TYPE,
                problems=(404, 413),
                may_lag=True,
            )
        ),
    )
    async def write(self, request: Request[Any, Any, Any]) -> Stream:
        """Write a dossier and send it in pieces."""
        return await dossier_answer(request, await read_body(request, WANTED))


async def dossier_answer(request: Request[Any, Any, Any], wanted: DossierWanted, name: str = "dossier") -> Stream:
    """The dossier that is wanted, saved as ``name.zip``. Raises MalformedRecord, NotFound, TooLarge before it begins."""
    wanted.check()
    parts = parts_of(request)
    most, did = parts.settings.dossier_limit, parts.settings.credential_issuer
    headers = {"content-disposition": f'attachment; filename="{name}.zip"'}
    return await sent_file(lambda out: parts.long_reads.dossier(out, wanted, most=most, did=did), MEDIA_TYPE, headers)
