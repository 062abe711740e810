"""The addresses of a directory of plants, for anyone, all of them read alone.

    GET /plants                                       the plants: id, origin, address, keys
    GET /whose?serial=&made_on=&gtin=&ask=true        which plants a number can be of; with ``ask``, what each says of it

A question that asks the plants sends a request to each: they are few at once, and few a minute from one address.  What a
plant says is passed on as its own word, beside those of the others, and never made into a verdict.
"""

import asyncio
import datetime as dt
import logging
from collections.abc import Sequence
from typing import Any, NamedTuple

import msgspec
from litestar import Controller, Litestar, Request, Response, get
from litestar.datastructures import State
from litestar.exceptions import HTTPException

from api.rate_limit import RateLimiter
from ledger.application.asking_plants import NOT_THE_BALL, Answered, Unanswered, ask_plants, whole_number
from ledger.application.public import PublicAnswer
from ledger.book.signing import format_verifier
from ledger.duties.witness_talk import Send
from ledger.errors import LedgerError, MalformedInput
from ledger.tracing.plants import Plant
from ledger.tracing.whose_serial import CanBe, cautions_of, read_number, whose_serial

LOG = logging.getLogger("pourbook.directory")

_LONGEST = 2_000
_KNOWN = frozenset({"serial", "made_on", "gtin", "ask"})


class Limits(NamedTuple):
    """Questions a minute from one address, at once from it, and under way that ask the plants."""

    per_minute: int = 60
    burst: int = 20
    asking: int = 4


class PlantTold(msgspec.Struct, frozen=True, kw_only=True):
    """A plant of the directory."""

    id: str
    origin: str
    address: str
    verifiers: tuple[str, ...]
    gtins: tuple[str, ...]
    serials: tuple[str, ...]


class PlantCanBe(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A plant that the number can be of. ``alike``: places (from 1) taken for a look-alike; ``number`` where it is whole."""

    plant: str
    serials: str
    alike: tuple[int, ...] = ()
    number: str | None = None


class PlantSays(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a plant says of the number under a product, or why there is nothing."""

    plant: str
    gtin: str
    answer: PublicAnswer | None = None
    why: str = ""


class Whose(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The plants that the number can be of, likeliest reading first; no plant: the directory knows none."""

    serial: str
    plants: tuple[PlantCanBe, ...]
    answers: tuple[PlantSays, ...] = ()
    cautions: tuple[str, ...] = ()


class _Parts:
    """The directory, what asks the plants, and what is let in."""

    def __init__(self, plants: Sequence[Plant], send: Send, limits: Limits) -> None:
        self.plants = plants
        self.send = send
        self.limits = limits
        self.limiter = RateLimiter(limits.per_minute, limits.burst)
        self.asking = 0


class DirectoryRoutes(Controller):
    """A directory's whole interface."""

    @get("/plants")
    async def plants(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every plant, in the order of the file."""
        return _json([_told(plant) for plant in _admitted(request).plants])

    @get("/whose")
    async def whose(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Which plants a number can be of."""
        parts, asked = _admitted(request), request.query_params
        if unknown := sorted(set(asked) - _KNOWN):
            raise MalformedInput("question has an unknown part", expected=", ".join(sorted(_KNOWN)), got=unknown[0])
        number = read_number(asked.get("serial", "")[:_LONGEST], asked.get("gtin", ""))
        made_on = _day(asked["made_on"]) if "made_on" in asked else None
        found = await asyncio.to_thread(
            whose_serial, parts.plants, number.pattern, alike=not number.scanned, made_on=made_on, gtin=number.gtin
        )
        says = await _asked(parts, found, number.gtin) if asked.get("ask") == "true" else []
        cautions = (*cautions_of(found), *((NOT_THE_BALL,) if says else ()))
        plants = tuple(map(_can_be, found))
        return _json(
            Whose(serial=number.pattern.typed, plants=plants, answers=tuple(map(_says, says)), cautions=cautions)
        )


def directory_app(plants: Sequence[Plant], send: Send, limits: Limits | None = None) -> Litestar:
    """The application of a directory; ``send`` asks the plants."""
    return Litestar(
        route_handlers=[DirectoryRoutes],
        exception_handlers={LedgerError: _refused, HTTPException: _http, Exception: _failed},
        openapi_config=None,
        logging_config=None,
        state=State({"parts": _Parts(plants, send, limits or Limits())}, deep_copy=False),
    )


async def _asked(parts: _Parts, found: Sequence[CanBe], gtin: str) -> list[Answered | Unanswered]:
    if parts.asking >= parts.limits.asking:
        raise HTTPException(
            status_code=503, detail="too many questions to the plants at once", headers={"retry-after": "5"}
        )
    parts.asking += 1
    try:
        return await asyncio.to_thread(ask_plants, found, parts.send, gtin=gtin)
    finally:
        parts.asking -= 1


def _admitted(request: Request[Any, Any, Any]) -> _Parts:
    parts: _Parts = request.app.state.parts
    client = request.scope.get("client")
    parts.limiter.admit(client[0] if client else "unknown")
    return parts


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise MalformedInput("no such date", expected="YYYY-MM-DD", got=text, where="made_on") from error


def _told(plant: Plant) -> PlantTold:
    keys = tuple(map(format_verifier, plant.verifiers))
    serials = tuple(issued.words for issued in plant.issued)
    return PlantTold(
        id=plant.id, origin=plant.origin, address=plant.address, verifiers=keys, gtins=plant.gtins, serials=serials
    )


def _can_be(one: CanBe) -> PlantCanBe:
    return PlantCanBe(
        plant=one.plant.id, serials=one.issued.words, alike=one.guess.alike, number=whole_number(one.guess)
    )


def _says(one: Answered | Unanswered) -> PlantSays:
    if isinstance(one, Unanswered):
        return PlantSays(plant=one.plant.id, gtin=one.gtin, why=one.why)
    return PlantSays(plant=one.plant.id, gtin=one.gtin, answer=one.answer)


def _json(answer: object, status: int = 200, headers: dict[str, str] | None = None) -> Response[bytes]:
    raw = msgspec.json.encode(answer)
    return Response(raw, status_code=status, media_type="application/json", headers=headers)


def _refused(_: Request[Any, Any, Any], error: LedgerError) -> Response[bytes]:
    if not isinstance(error, MalformedInput):
        LOG.warning("question refused: %s", error)
    return _json({"code": error.code, "detail": str(error), "mend": error.mend}, 400)


def _http(_: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    return _json({"code": "http", "detail": str(error.detail)}, error.status_code, error.headers)


def _failed(_: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    LOG.error("question not answered", exc_info=error)
    return _json({"code": "failed", "detail": "the directory could not answer"}, 500)
