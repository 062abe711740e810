"""Releasing balls at a grade: judged now, entered with what the verdicts rest on."""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_body
from api.routes.submissions import Recorded
from ledger.application.release_policies import PolicySeen, policy_seen
from ledger.line.record import Id
from ledger.line.releases import Grade
from ledger.store.engine import Store
from ledger.store.reader import open_reader


class ReleaseWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, and as what. All are released or none.

    ``undecided``: as first quality even where a verdict is undecided; the release policy names the roles that may.
    """

    units: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=200)]
    grade: Grade
    undecided: bool = False


WANTED = msgspec.json.Decoder(ReleaseWanted)


class Releases(Controller):
    """Decisions on finished balls."""

    @get(
        "/release-policy",
        opt=described(
            Operation(
                "The release policy in force: the rule of the house, and what may go as first quality",
                "quality",
                action="look-up",
                answer=PolicySeen,
            )
        ),
    )
    async def policy(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The newest policy; it is stated by a record (release-policy-set)."""
        return json_answer(await asyncio.to_thread(_policy, parts_of(request).book.store))

    @post(
        "/releases",
        opt=described(
            Operation(
                "Judge balls and release them at a grade, all or none",
                "quality",
                action="release",
                body=ReleaseWanted,
                answer=Recorded,
                keyed=True,
                problems=(409, 422, 503),
                status=201,
            )
        ),
    )
    async def release(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Release balls; a refusal names the limit or the fact in the way."""
        key = idempotency_key(request)
        wanted = await read_body(request, WANTED)
        book, account = parts_of(request).book, account_of(request)
        waiting = await asyncio.to_thread(
            book.release, wanted.units, wanted.grade, key, account, undecided=wanted.undecided
        )
        entered = await parts_of(request).entered(waiting)
        answer = Recorded(
            entry=entered.index,
            recorded_at=entered.recorded_at,
            addresses=entered.addresses,
            breaches=entered.breaches,
            receipt=entered.receipt,
            repeated=entered.repeated,
        )
        return json_answer(answer, status=200 if entered.repeated else 201)


def _policy(store: Store) -> PolicySeen:
    with open_reader(store) as reader:
        return policy_seen(reader)
