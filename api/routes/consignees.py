"""The register of consignees, and what each has now by the book. They are registered as records (POST /submissions)."""

from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from ledger.application.consignees import ConsigneeSeen, ConsigneeView, consignee_view, consignees_of
from ledger.application.pourbook import Pourbook
from ledger.store.reader import open_reader


class Consignees(msgspec.Struct, frozen=True, kw_only=True):
    """Every consignee, by id."""

    consignees: tuple[ConsigneeSeen, ...]


class ConsigneeRoutes(Controller):
    """Who balls are sent to."""

    path = "/consignees"

    @get(opt=described(Operation("Every consignee", "containment", action="cases", answer=Consignees)))
    async def consignees(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Name, market, and how many balls are away with each."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_consignees, parts.book))

    @get(
        "/{consignee:str}",
        opt=described(
            Operation(
                "One consignee, and the balls that are away with it",
                "containment",
                action="cases",
                answer=ConsigneeView,
                problems=(404,),
            )
        ),
    )
    async def consignee(self, request: Request[Any, Any, Any], consignee: FromPath[str]) -> Response[bytes]:
        """By shipment and unit, at most 10,000."""
        parts = parts_of(request)
        return json_answer(await parts.long_read(_consignee, parts.book, consignee))


def _consignees(book: Pourbook) -> Consignees:
    with open_reader(book.store) as reader:
        return Consignees(consignees=consignees_of(reader))


def _consignee(book: Pourbook, consignee: str) -> ConsigneeView:
    with open_reader(book.store) as reader:
        return consignee_view(reader, consignee)
