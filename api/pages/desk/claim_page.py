"""One claim whole: what was said, what the facts speak for, and the forms of what may be done next."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.guards import account_of, may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.author_names import author_values
from api.pages.desk.forms import Fault, Typed, fresh_key, may_say, note_in, today_of
from api.pages.page import page
from api.parts import Parts, parts_of
from ledger.access.roles import check_may_do
from ledger.application.claim_letters import claimant_lines
from ledger.application.claim_people import CAUTION, PersonalField, claim_people
from ledger.application.claim_view import ClaimView, claim_view
from ledger.application.warranty_desk import ClaimAnswer, claim_answer, known_claim
from ledger.line.claims import FINAL
from ledger.store.reader import open_reader
from ledger.warranty.claim_letter import ANSWERED, LANGUAGES
from ledger.warranty.claim_letter import CAUTION as LETTER_CAUTION
from ledger.warranty.proposal import DECISIONS

NOTHING = Typed()
NOTES = {
    "opened": "",
    "examined": "claim-examined",
    "decided": "claim-decided",
    "written": "claim-replied",
    "replaced": "claim-replaced",
    "erased": "",
}
"""What may be told on the page, and the kind of record on which it rests."""


class ClaimSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A claim with what is kept of people, for those who may see it; ``to``: the claimant's lines, as a letter has them."""

    view: ClaimView
    people: tuple[PersonalField, ...] | None
    to: tuple[str, ...]


class ClaimPages(Controller):
    """A claim as it stands."""

    @get(
        "/desk/claim/{claim:str}", opt=described(Operation("A claim", "pages", action="claims", media=HTML, page=True))
    )
    async def claim(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """The page; with ``part`` what the facts speak for and the form of the decision, alone."""
        asked = request.query_params
        if "part" in asked:
            values = await decision_values(request, claim)
            return page(request, "desk/claim-answer.html", form="", fault=None, **values)
        return await show_claim(request, claim, whole="whole" in asked)


async def show_claim(
    request: Request[Any, Any, Any],
    claim: str,
    *,
    form: str = "",
    typed: Typed = NOTHING,
    fault: Fault | None = None,
    whole: bool = False,
    **values: Any,
) -> Response[bytes]:
    """The page of a claim. ``form``: which of its forms is shown again with what was ``typed`` and what is wrong with it.

    ``whole``: with what the facts speak for, which a script asks for otherwise.  Raises NotFound.
    """
    parts = parts_of(request)
    sees_people = may_do(request, "warranty")
    said = await asyncio.to_thread(_said, parts, claim, people=sees_people)
    authors = await asyncio.to_thread(author_values, parts.book.store)
    whole = (whole or form == "decide") and sees_people
    answer = await decision_values(request, claim, typed) if whole else {}
    view = said.view
    return page(
        request,
        "desk/claim.html",
        status=200 if fault is None else fault.problem.status,
        **{
            "said": said,
            "view": view,
            "form": form,
            "typed": typed,
            "fault": fault,
            "key": fresh_key(),
            "today": today_of(request),
            "note": note_in(request, NOTES, {fact.kind for fact in view.facts if fact.standing}),
            "whole": whole,
            "sees_people": sees_people,
            "decided": view.state in FINAL,
            "may_examine": may_say(request, "claim-examined") and view.state not in FINAL,
            "may_write": may_say(request, "claim-replied") and view.state in ANSWERED,
            "may_replace": may_say(request, "claim-replaced")
            and view.state in {"accept", "goodwill"}
            and view.replacement is None,
            "may_erase": may_say(request, "erasure"),
            "people_caution": CAUTION,
            "letter_caution": LETTER_CAUTION,
            "letter_languages": LANGUAGES,
            "draft": None,
            "kept": [],
            **authors,
            **answer,
            **values,
        },
    )


def _said(parts: Parts, claim: str, *, people: bool) -> ClaimSaid:
    with open_reader(parts.book.store) as reader:
        view = claim_view(reader, claim, parts.book.clock_ms())
        if not people:
            return ClaimSaid(view=view, people=None, to=())
        lines = claimant_lines(reader, known_claim(reader, claim))
        return ClaimSaid(view=view, people=claim_people(reader, claim).fields, to=lines)


async def decision_values(request: Request[Any, Any, Any], claim: str, typed: Typed = NOTHING) -> dict[str, Any]:
    """What the facts of a claim speak for, and what its decision may rest on."""
    check_may_do(account_of(request).roles, "warranty")
    parts = parts_of(request)
    found = await parts.long_read(_answer, parts, claim)
    answer, proposal = found.answer, found.proposal
    return {
        "claim": claim,
        "answer": answer,
        "ball": answer.balls[0] if len(answer.balls) == 1 else None,
        "proposal": proposal,
        "decisions": [(decision, [way for way in proposal.ways if way.decision == decision]) for decision in DECISIONS],
        "may_decide": may_say(request, "claim-decided") and found.state not in FINAL,
        "decide_key": fresh_key(),
        "typed": typed,
    }


def _answer(parts: Parts, claim: str) -> ClaimAnswer:
    with open_reader(parts.book.store) as reader:
        return claim_answer(reader, claim)
