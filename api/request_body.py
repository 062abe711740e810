"""What a request holds, read strictly: JSON body, query, idempotency key.

Each reader gives the typed thing or raises MalformedInput that names the field (``records[0].lot``), never the
library's own error.  Unknown fields are refused, in a query too: a misspelt filter must not widen an answer.
"""

import json
import re
from typing import Any, TypeVar

import msgspec
from litestar import Request
from litestar.exceptions import HTTPException

from ledger.errors import MalformedInput, TooLarge

T = TypeVar("T")

JSON_TYPE = "application/json"

_decode = msgspec.json.Decoder().decode
_encode = msgspec.json.Encoder().encode
_KEY = re.compile(r'(?P<quote>"?)(?P<key>[A-Za-z0-9][A-Za-z0-9._:-]{0,99})(?P=quote)', re.ASCII)
_AT = re.compile(r"^(?P<problem>.*?)(?: - at `\$?(?P<path>.*)`)?$", re.DOTALL)
_NAMED = re.compile(r"(?:missing required field|contains unknown field) `([^`]*)`")


def decode_body(raw: bytes, decoder: msgspec.json.Decoder[T]) -> T:
    """Give what ``decoder`` reads in ``raw``. Raises MalformedInput naming the field or the byte."""
    try:
        body = decoder.decode(raw)
        # Most bodies come without spaces; one that is written anew as it came has no field twice, found at a third of the cost.
        if _encode(_decode(raw)) != raw:
            json.loads(raw, object_pairs_hook=_said_once)
    except msgspec.ValidationError as error:
        raise misfit(error) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        found = str(error).removeprefix("JSON is malformed: ")
        raise MalformedInput(
            f"body is not JSON: {found[:1].lower()}{found[1:]}", mend="send one JSON object in UTF-8"
        ) from error
    return body


def _said_once(pairs: list[tuple[str, Any]]) -> None:
    """Refuse a field that stands twice in one object: decoders keep the last without a word."""
    names = {name for name, _ in pairs}
    if len(names) != len(pairs):
        twice = next(name for place, (name, _) in enumerate(pairs) if name in {earlier for earlier, _ in pairs[:place]})
        raise MalformedInput("a field is said twice", where=twice, mend="send each field of an object once")


def misfit(error: msgspec.ValidationError) -> MalformedInput:
    """The library's finding in the project's terms: ``where`` is the path of the field."""
    found = _AT.match(str(error))
    problem, path = (found["problem"], found["path"] or "") if found else (str(error), "")
    where = path.lstrip(".")
    named = _NAMED.search(problem)
    if named:
        where = f"{where}.{named[1]}" if where else named[1]
    mend = "leave the field out; /docs names those that are known" if "unknown field" in problem else ""
    if "missing required" in problem:
        mend = "send the field"
    return MalformedInput(problem[:1].lower() + problem[1:], where=where, mend=mend or "send it as /docs says")


async def read_raw(request: Request[Any, Any, Any]) -> bytes:
    """The bytes of a JSON body. Raises a 415 for another content type, and a 413 over the limit of the route."""
    sent = request.headers.get("content-type", "")
    if sent.split(";", 1)[0].strip().lower() != JSON_TYPE:
        raise HTTPException(status_code=415, detail=f"expected a body of type {JSON_TYPE}")
    return await request.body()


async def read_bytes(request: Request[Any, Any, Any], limit: int) -> bytes:
    """The bytes of a body of any type, read no further than ``limit``. Raises TooLarge."""
    raw = bytearray()
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > limit:
            raise TooLarge(
                "body is too long", expected=f"at most {limit} bytes", where="body", mend="send less at once"
            )
    return bytes(raw)


async def read_body(request: Request[Any, Any, Any], decoder: msgspec.json.Decoder[T]) -> T:
    """A JSON body, decoded; the errors are those of ``read_raw`` and ``decode_body``."""
    return decode_body(await read_raw(request), decoder)


def read_query(request: Request[Any, Any, Any], shape: type[T]) -> T:
    """The query as ``shape``, a Struct; numbers are read from their text. Raises MalformedInput."""
    asked: dict[str, str] = {}
    for name, value in request.query_params.multi_items():
        if name in asked:
            raise MalformedInput("parameter is given twice", where=name, mend="give each parameter once")
        asked[name] = str(value)
    try:
        return msgspec.convert(asked, shape, strict=False)
    except msgspec.ValidationError as error:
        raise misfit(error) from error


def idempotency_key(request: Request[Any, Any, Any]) -> str:
    """The ``Idempotency-Key`` header, with or without quotes. Raises MalformedInput when it is missing or malformed.

    Source: the IETF httpapi draft on the Idempotency-Key header field (quoted form); from memory.
    """
    found = _KEY.fullmatch(request.headers.get("idempotency-key", ""))
    if found is None:
        raise MalformedInput(
            "request needs an idempotency key",
            expected="1 to 100 letters, digits, . _ : -",
            where="Idempotency-Key",
            mend="send a header Idempotency-Key, the same on each retry and another for each new request",
        )
    return found["key"]
