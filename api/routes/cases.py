"""Looking into containment: what is below a suspect, one case, its balls, notice list and letters."""

import asyncio
from typing import Any, Literal

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from litestar.response import Stream

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.request_body import read_query
from api.sent_file import sent_file
from ledger.application.case_balls import MEDIA_TYPES, write_balls
from ledger.application.case_letters import MEDIA_TYPE as ZIP
from ledger.application.case_letters import write_letters
from ledger.application.case_view import CaseView, case_view, notices_of
from ledger.application.containment import SuspectAnswer, suspect_answer
from ledger.application.notices import write_notices
from ledger.application.pourbook import Pourbook
from ledger.errors import NotFound
from ledger.line.record import At, Id
from ledger.line.suspects import SerialPart, Suspect, SuspectSort
from ledger.store.blobs import read_blob
from ledger.store.reader import open_reader

CSV, PDF = MEDIA_TYPES["csv"], "application/pdf"


class SuspectQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A suspect: ``name`` for every sort but serials, which have a prefix or both ends. The span includes both its ends.

    A span belongs to a mould set, station, gauge, or serials (by when they were engraved); a lot is suspected whole, and
    so are the shells whose pour began in a week (ISO 8601, UTC: 2026-W35).
    """

    sort: SuspectSort
    name: Id | None = None
    from_at: At | None = None
    to_at: At | None = None
    serial_prefix: SerialPart | None = None
    first_serial: SerialPart | None = None
    last_serial: SerialPart | None = None


class BallsForm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One ball a line, as JSON (``ndjson``) or CSV."""

    form: Literal["ndjson", "csv"] = "ndjson"


class SuspectRoutes(Controller):
    """What else is affected, before anything is said."""

    path = "/suspects"

    @get(
        opt=described(
            Operation(
                "All below a suspect, where it is, and what an order would hold",
                "containment",
                action="cases",
                query=SuspectQuery,
                answer=SuspectAnswer,
                problems=(404,),
            )
        ),
    )
    async def suspect(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Counts only; nothing is entered or held."""
        asked, parts = read_query(request, SuspectQuery), parts_of(request)
        given = {name: value for name, value in msgspec.structs.asdict(asked).items() if value is not None}
        suspect = Suspect(**given)
        if parts.long_reads.is_free:
            return json_answer(await parts.long_answer(suspect_answer, suspect))
        # What else is affected must not wait for a dossier.
        return json_answer(await parts.long_read(_suspect, parts.book, suspect))


class CaseRoutes(Controller):
    """One case as it stands."""

    path = "/cases"

    @get(
        "/{case:str}",
        opt=described(
            Operation(
                "One case, its balls added up to the last one",
                "containment",
                action="cases",
                answer=CaseView,
                problems=(404,),
            )
        ),
    )
    async def case(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Response[bytes]:
        """Places, answers and contradictions; holds and letters."""
        return json_answer(await parts_of(request).long_answer(case_view, case))

    @get(
        "/{case:str}/balls",
        opt=described(
            Operation(
                "Every ball of a case, one a line",
                "containment",
                action="cases",
                query=BallsForm,
                media=MEDIA_TYPES["ndjson"],
                problems=(404,),
            )
        ),
    )
    async def balls(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Stream:
        """How surely it is below the suspect, where it is, who holds it, and what was answered."""
        asked, parts = read_query(request, BallsForm), parts_of(request)
        headers = {"content-disposition": f'attachment; filename="case-balls.{asked.form}"'}
        return await sent_file(
            lambda out: parts.long_reads.written(out, write_balls, case, form=asked.form),
            MEDIA_TYPES[asked.form],
            headers,
        )

    @get(
        "/{case:str}/notices.csv",
        opt=described(
            Operation(
                "Who holds the balls of a case, one ball a line: to be filled in and sent back",
                "containment",
                action="cases",
                media=CSV,
                problems=(404,),
            )
        ),
    )
    async def notices(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Stream:
        """By consignee; what was sent to somebody outside the register comes last, under the name in its shipment."""
        parts = parts_of(request)
        headers = {"content-disposition": 'attachment; filename="notices.csv"'}
        return await sent_file(lambda out: parts.long_reads.written(out, write_notices, case), CSV, headers)

    @get(
        "/{case:str}/letters.zip",
        opt=described(
            Operation(
                "The newest letter of a case to each consignee, in one file",
                "containment",
                action="cases",
                media=ZIP,
                problems=(404,),
            )
        ),
    )
    async def letters(self, request: Request[Any, Any, Any], case: FromPath[str]) -> Stream:
        """A zip of the files whose digests the book holds, named consignee.pdf; the same letters give the same bytes."""
        parts = parts_of(request)
        headers = {"content-disposition": 'attachment; filename="letters.zip"'}
        return await sent_file(lambda out: parts.long_reads.written(out, write_letters, case), ZIP, headers)

    @get(
        "/{case:str}/letters/{letter:str}",
        opt=described(
            Operation(
                "The newest letter of a case to a consignee, as it was made (consignee.pdf)",
                "containment",
                action="cases",
                media=PDF,
                problems=(404,),
            )
        ),
    )
    async def letter(
        self, request: Request[Any, Any, Any], case: FromPath[str], letter: FromPath[str]
    ) -> Response[bytes]:
        """The file whose digest the book holds."""
        raw = await asyncio.to_thread(_letter, parts_of(request).book, case, letter.removesuffix(".pdf"))
        return file_answer(raw, PDF, name="letter.pdf")


def _suspect(book: Pourbook, suspect: Suspect) -> SuspectAnswer:
    with open_reader(book.store) as reader:
        return suspect_answer(reader, suspect)


def _letter(book: Pourbook, case: str, consignee: str) -> bytes:
    with open_reader(book.store) as reader:
        made = [notice for notice in notices_of(reader, case) if notice.consignee == consignee]
    if not made:
        raise NotFound(
            f"no letter of case {case} to {consignee} was made",
            where="letter",
            mend="make the letters of the case first",
        )
    return read_blob(book.store, made[-1].letter).bytes
