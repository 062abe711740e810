"""Taking a TOML file that the plant adopts: a rulebook or a checklist."""

import asyncio
from collections.abc import Callable
from typing import Any

import msgspec
from litestar import Request, Response

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_bytes
from ledger.application.adopting import TOML_TYPE, Adoption
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import MalformedInput


class Adopted(msgspec.Struct, frozen=True, kw_only=True):
    """A file that is in force: its id, the SHA-256 of its bytes, and the entry that says so with its receipt.

    ``repeated``: it was in force already, or this key had been used for it.
    """

    id: str
    digest: str
    entry: int
    recorded_at: str
    receipt: str
    repeated: bool


def adopting(what: str) -> dict[str, Any]:
    """The operation that adopts ``what``, as it is described."""
    return described(
        Operation(
            f"Adopt a {what} of the plant's own; a file that is wrong is refused with its line",
            "quality",
            action="adopt",
            takes=TOML_TYPE,
            answer=Adopted,
            keyed=True,
            problems=(409, 422, 503),
            status=201,
        )
    )


async def adopted(request: Request[Any, Any, Any], adoption_of: Callable[[bytes, int], Adoption]) -> Response[bytes]:
    """The answer to a file that is adopted. Raises MalformedRulebook naming its line, TooLarge, MalformedInput."""
    key = idempotency_key(request)
    media_type = request.headers.get("content-type", "").split(";", 1)[0].strip().lower()
    if media_type != TOML_TYPE:
        raise MalformedInput(
            "file is of another type",
            expected=TOML_TYPE,
            got=media_type,
            where="Content-Type",
            mend="send the TOML file as it is",
        )
    raw = await read_bytes(request, LARGEST_FILE)
    book, account = parts_of(request).book, account_of(request)
    adoption, waiting = await asyncio.to_thread(book.adopt, adoption_of, raw, key, account)
    entered = await parts_of(request).entered(waiting)
    answer = Adopted(
        id=adoption.id,
        digest=adoption.digest,
        entry=entered.index,
        recorded_at=entered.recorded_at,
        receipt=entered.receipt,
        repeated=entered.repeated,
    )
    return json_answer(answer, status=200 if entered.repeated else 201)
