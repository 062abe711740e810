"""What bodies want to see when a model is submitted: the checklists that ship, and the plant's own."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get, post

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.routes.adopting import adopted, adopting
from ledger.application.adopted_files import ChecklistSeen, checklists_seen
from ledger.application.adopting import checklist_adoption
from ledger.conformity.verdict import CAUTION
from ledger.store.engine import Store
from ledger.store.reader import open_reader


class Checklists(msgspec.Struct, frozen=True, kw_only=True):
    """Every checklist at hand. Each item says where it comes from."""

    checklists: tuple[ChecklistSeen, ...]
    caution: str = CAUTION


class ChecklistRoutes(Controller):
    """Submissions to a body, as data."""

    path = "/checklists"

    @get(
        opt=described(
            Operation("The checklists that ship and the plant's own", "quality", action="look-up", answer=Checklists)
        ),
    )
    async def checklists(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every checklist with its items."""
        seen = await asyncio.to_thread(_seen, parts_of(request).book.store)
        return json_answer(Checklists(checklists=seen))

    @post(
        # The reader's own limit counts, as for rulebooks.
        request_max_body_size=None,
        opt=adopting("checklist"),
    )
    async def adopt(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One TOML file. 201, or 200 where it is in force already or the key was used for it."""
        return await adopted(request, checklist_adoption)


def _seen(store: Store) -> tuple[ChecklistSeen, ...]:
    with open_reader(store) as reader:
        return checklists_seen(reader)
