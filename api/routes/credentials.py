"""Credentials about balls, and the document of who gives them, where ``did:web`` looks for it."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import Parts, file_answer, parts_of
from ledger.application.credentials import ball_credential, issuer_document, issuer_of
from ledger.evidence.did_web import did_of
from ledger.store.reader import open_reader

MEDIA_TYPE = "application/vc"


class CredentialRoutes(Controller):
    """Credentials to hand over."""

    @get(
        "/balls/{unit:str}/credential",
        opt=described(
            Operation(
                "A verifiable credential about one ball: the maker's own assessment, no approval",
                "evidence",
                action="dossier",
                media=MEDIA_TYPE,
                problems=(404, 422, 501),
            )
        ),
    )
    async def show(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """The credential of a ball as things stand now."""
        return file_answer(await asyncio.to_thread(_credential, parts_of(request), unit), MEDIA_TYPE)

    @get(
        ["/did.json", "/.well-known/did.json"],
        opt=described(
            Operation("The document of the issuer of credentials (did:web)", "evidence", problems=(404,), limited=True)
        ),
    )
    async def issuer(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The issuer's keys."""
        return file_answer(await asyncio.to_thread(_document, parts_of(request)), "application/json")


def _credential(parts: Parts, unit: str) -> bytes:
    book = parts.book
    issuer = issuer_of(book.label_stem, parts.settings.credential_issuer, book.signers.credential)
    note = book.checkpoint()
    with open_reader(book.store) as reader:
        return ball_credential(reader, unit, issuer, note)


def _document(parts: Parts) -> bytes:
    did = parts.settings.credential_issuer or did_of(parts.book.label_stem)
    with open_reader(parts.book.store) as reader:
        return issuer_document(reader, did, reader.head().size)
