"""What may be decided on the page of a ball or a lot: a hold, its end, a release, rework, an end of the ball, a merging of lots.

Each is a small form with a key of its own and a box to tick; sent twice it enters once.  Who may is for the book to say.
"""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections.abc import Awaitable, Callable, Collection, Iterable
from typing import Any, NamedTuple
from urllib.parse import quote

from litestar import Request, Response

from api.guards import account_of
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import (
    AGAIN,
    Fault,
    Typed,
    fault_of,
    fresh_key,
    key_of,
    may_say,
    now_text,
    record_of,
    say,
    typed_in,
)
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.errors import KeyReused, LedgerError, MalformedInput, NotFound
from ledger.line.holds import HoldLifted, HoldPlaced
from ledger.line.lot_changes import LotsMerged
from ledger.line.releases import Grade, Rework, Scrap
from ledger.line.shipments import Restocked
from ledger.store.answer import Entered

MERGED_WITH = (1, 2, 3)
"""Rows of other lots in the form that merges a lot with them."""

FIELDS = (
    "reason",
    "note",
    "hold",
    "recall",
    "grade",
    "undecided",
    "operation",
    "station",
    "how",
    "at",
    "key",
    "confirm",
    "into",
    "count",
    *(f"{name}{place}" for place in MERGED_WITH for name in ("lot", "count")),
)
STOPS = ("use", "work", "release", "shipment")
GRADES: tuple[Grade, ...] = ("first", "second", "house", "prototype", "demo")
OPERATIONS = ("resurface", "polish", "re-turn", "plug", "re-pour")
ENDS = ("scrap", "destructive-test", "retained")

SAYS = {
    "hold": "hold-placed",
    "lift": "hold-lifted",
    "release": "release",
    "rework": "rework",
    "scrap": "scrap",
    "restock": "restocked",
    "anew": "ball-engraved-anew",
    "merge": "lots-merged",
}
"""Act to the kind of record that it says."""

PAGE_OF = {"unit": "ball", "lot": "lot"}
"""Sort of a node to the address under which its page is."""

_OTHER = re.compile(r"[^a-z0-9]+")


class Turned(NamedTuple):
    """A form that was refused: which, why, and what had been typed. ``act``: a key of `SAYS`."""

    act: str
    fault: Fault
    typed: Typed


class Done(NamedTuple):
    """A form that is entered, or was before. ``entry``: None where an earlier sending of it entered something else."""

    act: str
    entry: int | None


def acts_open(request: Request[Any, Any, Any]) -> frozenset[str]:
    """The acts that who looks may do."""
    return frozenset(act for act, kind in SAYS.items() if may_say(request, kind))


def form_values(request: Request[Any, Any, Any], refused: Turned | None) -> dict[str, Any]:
    """What the forms of a page are made with."""
    return {
        "acts": acts_open(request),
        "refused_act": "" if refused is None else refused.act,
        "fault": None if refused is None else refused.fault,
        "typed": Typed() if refused is None else refused.typed,
        "form_key": fresh_key,
        "form_at": now_text(request),
        "stops": STOPS,
        "grades": GRADES,
        "operations": OPERATIONS,
        "ends": ENDS,
        "merged_with": MERGED_WITH,
    }


async def do_act(request: Request[Any, Any, Any], act: str, node: str, among: Collection[str]) -> Done | Turned:
    """Say what a form asks of a node. Raises NotFound for an act that is none."""
    if act not in among or act not in _DOES:
        raise NotFound("no such form", expected=", ".join(among), got=act, where="act")
    form = await read_form(request)
    typed = typed_in(form, FIELDS)
    try:
        if typed["confirm"] != "yes":
            raise MalformedInput(
                "form was not confirmed", where="confirm", mend="tick the box that says what will be entered"
            )
        entered = await _DOES[act](request, form, typed, node)
    except LedgerError as error:
        return Turned(act, fault_of(request, error), typed)
    return Done(act, None if entered is None else entered.index)


async def answer_act(
    request: Request[Any, Any, Any],
    act: str,
    node: str,
    among: Collection[str],
    again: Callable[[Turned], Awaitable[Response[bytes]]],
) -> Response[bytes]:
    """Say what a form asks, and lead back to its page, which says so; ``again`` shows the page with what was refused."""
    done = await do_act(request, act, node, among)
    if isinstance(done, Turned):
        return await again(done)
    sort, _, name = node.partition(":")
    return see_other(done_address(f"/{PAGE_OF[sort]}/{quote(name)}", done.act, done.entry))


def slug_of(typed: str) -> str:
    """A reason in words as records say one: lower case, a hyphen between words, at most 40 characters."""
    return _OTHER.sub("-", typed.lower()).strip("-")[:40].rstrip("-")


async def _hold(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    key = key_of(form)
    stops = tuple(stop for stop in STOPS if stop in form.every("stops"))
    if not stops:
        raise MalformedInput("hold stops nothing", where="stops", mend="tick at least one of what it stops")
    record = record_of(
        HoldPlaced,
        {
            "at": typed["at"],
            "hold": f"H-{hashlib.sha256(key.encode()).hexdigest()[:12].upper()}",
            "reason": slug_of(typed["reason"]),
            "node": node,
            "stops": stops,
            "recall": typed["recall"] == "yes",
            "note": typed["note"],
        },
    )
    return await say(request, key, record)


async def _lift(request: Request[Any, Any, Any], form: Form, typed: Typed, _node: str) -> Entered | None:
    fields = {
        "at": typed["at"], "hold": typed["hold"], "reason": slug_of(typed["reason"]), "note": typed["note"],
    }  # fmt: skip
    return await say(request, key_of(form), record_of(HoldLifted, fields))


async def _release(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    grade = next((one for one in GRADES if one == typed["grade"]), None)
    if grade is None:
        raise MalformedInput(
            "no such grade", expected=", ".join(GRADES), got=typed["grade"], where="grade", mend="choose a grade"
        )
    book, account, unit = parts_of(request).book, account_of(request), node.partition(":")[2]
    try:
        waiting = await asyncio.to_thread(
            book.release, (unit,), grade, key_of(form), account, undecided=typed["undecided"] == "yes"
        )
        entered = await parts_of(request).entered(waiting)
    except KeyReused:
        return None
    return entered


async def _rework(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    fields = {
        "at": typed["at"],
        "unit": node.partition(":")[2],
        "operation": typed["operation"],
        "station": typed["station"].upper(),
        "note": typed["note"],
    }
    return await say(request, key_of(form), record_of(Rework, fields))


async def _scrap(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    fields = {
        "at": typed["at"],
        "unit": node.partition(":")[2],
        "how": typed["how"],
        "reason": slug_of(typed["reason"]),
        "note": typed["note"],
    }
    return await say(request, key_of(form), record_of(Scrap, fields))


async def _restock(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    fields = {"at": typed["at"], "unit": node.partition(":")[2], "note": typed["note"]}
    return await say(request, key_of(form), record_of(Restocked, fields))


async def _merge(request: Request[Any, Any, Any], form: Form, typed: Typed, node: str) -> Entered | None:
    rows = [(node.partition(":")[2], typed["count"])]
    rows += [(typed[f"lot{place}"].upper(), typed[f"count{place}"]) for place in MERGED_WITH]
    lots = [{"lot": lot, "count": count} for lot, count in rows if lot or count]
    fields = {"at": typed["at"], "lots": lots, "into": typed["into"].upper(), "note": typed["note"]}
    return await say(request, key_of(form), record_of(LotsMerged, fields))


_Does = Callable[[Request[Any, Any, Any], Form, Typed, str], Awaitable[Entered | None]]
_DOES: dict[str, _Does] = {
    "hold": _hold,
    "lift": _lift,
    "release": _release,
    "rework": _rework,
    "scrap": _scrap,
    "restock": _restock,
    "merge": _merge,
}


def done_address(address: str, act: str, entry: int | None) -> str:
    """Where a browser goes once it is entered: the page, which says so."""
    return f"{address}?done={AGAIN}" if entry is None else f"{address}?done={act}&entry={entry}"


def done_note(request: Request[Any, Any, Any], facts: Iterable[str]) -> tuple[str, int | None]:
    """The act that led here and the entry that it became; empty where the book has no such entry about this node.

    ``facts``: addresses of what was said about it.  An address alone says nothing: anybody can write one.
    """
    act, entry = request.query_params.get("done", ""), request.query_params.get("entry", "")
    if act == AGAIN:
        return AGAIN, None
    if act not in SAYS or not any(fact.partition(".")[0] == entry for fact in facts):
        return "", None
    return act, int(entry)
