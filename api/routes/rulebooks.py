"""The rulebooks at hand, limit by limit, the differences between two of them in words, and a plant's own.

A plant's own rulebook is one TOML file, sent as it is; see `ledger.conformity.rulebook` for its form.
"""

import asyncio
from typing import Any, Literal

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.routes.adopting import adopted, adopting
from ledger.application.adopted_files import RulebooksHere, find_rulebook, rulebooks_here
from ledger.application.adopting import rulebook_adoption
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.rulebook_diff import Difference, differences
from ledger.conformity.verdict import CAUTION
from ledger.store.engine import Store
from ledger.store.reader import open_reader


class RulebookShown(msgspec.Struct, frozen=True, kw_only=True):
    """One edition of a body's requirements; ``digest`` is the SHA-256 of its file.

    ``made_event`` says which event of a ball's life is its manufacture.  ``ships``: it came with the program, and is not
    the plant's own.  ``adopted``: the plant judges by this very edition.
    """

    id: str
    body: str
    title: str
    edition: str
    digest: str
    ships: bool
    adopted: bool
    made_event: Literal["pour", "turning", "engraving", "release"]
    note: str
    requirements: tuple[Requirement, ...]


class Rulebooks(msgspec.Struct, frozen=True, kw_only=True):
    """Every rulebook that ships, and the plant's own as they were adopted. Each limit says where it comes from."""

    rulebooks: tuple[RulebookShown, ...]
    caution: str = CAUTION


class RulebookDiff(msgspec.Struct, frozen=True, kw_only=True):
    """What the second edition has otherwise than the first; ``one`` and ``two`` are their digests."""

    one: str
    two: str
    differences: tuple[Difference, ...]
    caution: str = CAUTION


class RulebookRoutes(Controller):
    """Limits as data."""

    @get(
        "/rulebooks",
        opt=described(
            Operation(
                "The rulebooks that ship and the plant's own, limit by limit",
                "quality",
                action="look-up",
                answer=Rulebooks,
            )
        ),
    )
    async def rulebooks(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every rulebook with its provenance."""
        here = await asyncio.to_thread(_here, parts_of(request).book.store)
        shown = tuple(
            RulebookShown(
                id=one.rulebook.id,
                body=one.rulebook.body,
                title=one.rulebook.title,
                edition=one.rulebook.edition,
                digest=one.digest,
                ships=one.rulebook.id in shipped_rulebooks(),
                adopted=here.adopted.get(one.rulebook.id) == one.digest,
                made_event=one.rulebook.made_event,
                note=one.rulebook.note,
                requirements=one.rulebook.requirements,
            )
            for one in here.editions
        )
        return json_answer(Rulebooks(rulebooks=shown))

    @post(
        "/rulebooks",
        # The reader's own limit counts: a file may be longer than a request of records.
        request_max_body_size=None,
        opt=adopting("rulebook"),
    )
    async def adopt(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One TOML file. 201, or 200 where it is in force already or the key was used for it."""
        return await adopted(request, rulebook_adoption)

    @get(
        "/rulebooks/{one:str}/diff/{two:str}",
        opt=described(
            Operation(
                "What one rulebook has otherwise than another, each by its id or digest",
                "quality",
                action="look-up",
                answer=RulebookDiff,
                problems=(404,),
            )
        ),
    )
    async def diff(self, request: Request[Any, Any, Any], one: FromPath[str], two: FromPath[str]) -> Response[bytes]:
        """The differences in words, in the order of the second."""
        return json_answer(await asyncio.to_thread(_diff, parts_of(request).book.store, one, two))


def _here(store: Store) -> RulebooksHere:
    with open_reader(store) as reader:
        return rulebooks_here(reader)


def _diff(store: Store, one: str, two: str) -> RulebookDiff:
    with open_reader(store) as reader:
        earlier, later = find_rulebook(reader, one), find_rulebook(reader, two)
    return RulebookDiff(one=earlier.digest, two=later.digest, differences=differences(earlier.rulebook, later.rulebook))
