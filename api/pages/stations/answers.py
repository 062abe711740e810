"""How a form of a station is answered: to a browser by a page, to the queue of a device by JSON.

The contract with the queue (``static/queue.js``).  A form has the mark ``data-queue`` and the fields ``key`` (idempotency
key, made when the form was rendered), ``at`` (instant of the act, as a record has it; empty: the service's now; a script
fills it at the tap) and ``form_token``.  Its POST is answered

- to a plain form: 303 to a page that says what was entered; refused, the page again with what was typed, at the
  problem's status;
- with the header ``x-queued: 1``: 200 and ``{"ok": true, "said": <words>, "problem": null, "next": <address>}``; refused,
  the problem's status and ``{"ok": false, "said": <its detail>, "problem": {<RFC 9457>}, "next": <address of the form>}``.
  What is refused before a form is read (nobody signed in, 401; another session's form token, 403; a failure, 500) is the
  problem itself, as ``application/problem+json``, never a page or a redirect.

The same key with the same fields enters once, whichever ``at`` the service gave it the first time.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import re
import secrets
from collections.abc import Awaitable, Callable
from typing import Any
from urllib.parse import quote

import msgspec
from litestar import Request, Response

from api.guards import account_of
from api.pages.catalogue import N_, time_zone
from api.pages.page import catalogue_of
from api.pages.refusal import see_other
from api.parts import Parts, json_answer, parts_of
from api.problems import QUEUED, Problem, problem_of, status_of
from ledger.access.tokens import Account
from ledger.book.instant import Instant, format_instant
from ledger.errors import LedgerError, MalformedInput, MalformedRecord, Refused
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.bodies import decode_said
from ledger.store.reader import open_reader

DONE = "done"
"""The query field in which the page after an entry is told which entry it was: ``?done=<index>``."""

Records = list[dict[str, Any]]
Making = Callable[[str, Records | None], Awaitable[Records]]
"""Gives the records of a form, as JSON objects, for the instant of the act; may refuse by raising.

The second argument are the records that stand under the form's key already, None for a key that is new: what was asked of
the book before it was entered need not be asked again, and must come out as it did then.
"""

_LEFT = N_("%(said)s The book found: %(breaches)s.")

_ADDRESS = re.compile(r"^(?:records\[\d+\]\.?)?(.*)$")


class StationAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What the queue is told."""

    ok: bool
    said: str
    problem: Problem | None
    next: str


def new_key() -> str:
    """A key for a form that is rendered now."""
    return "page-" + secrets.token_hex(16)


def is_queued(request: Request[Any, Any, Any]) -> bool:
    """Whether the queue of a device sends this, and not a form by itself."""
    return request.headers.get(QUEUED, "") == "1"


def accepted(request: Request[Any, Any, Any], *, said: str, onward: str) -> Response[Any]:
    """What was asked stands in the book: ``onward`` is the page that says so, ``said`` the same in words."""
    if is_queued(request):
        return json_answer(StationAnswer(ok=True, said=said, problem=None, next=onward))
    return see_other(onward)


def with_breaches(request: Request[Any, Any, Any], said: str, entered: Entered) -> str:
    """What was entered in words, and after it what the book found wrong with it."""
    breaches = "; ".join(breach.said for one in entered.breaches for breach in one)
    return catalogue_of(request).gettext(_LEFT) % {"said": said, "breaches": breaches} if breaches else said


async def refused(
    request: Request[Any, Any, Any],
    error: LedgerError,
    *,
    back: str,
    again: Callable[[Problem], Awaitable[Response[bytes]]],
) -> Response[Any]:
    """What was asked does not stand; ``again`` makes the page with what was typed, ``back`` is its address.

    Raises the error itself where it is a failure of the service.
    """
    if status_of(error) >= 500:
        raise error
    problem = problem_of(error, request.scope["path"]).problem
    if is_queued(request):
        told = StationAnswer(ok=False, said=problem.detail, problem=problem, next=back)
        return json_answer(told, status=problem.status)
    return await again(problem)


async def say(request: Request[Any, Any, Any], key: str, at: str, make: Making) -> Entered:
    """Say what a form said, once, in the name of the session. ``at`` is the form's own field, empty for now.

    Raises MalformedInput for a key that is none, and whatever refuses the records.
    """
    parts, account = parts_of(request), account_of(request)
    before = await asyncio.to_thread(_said_under, parts, account, key)
    while True:
        instant = at or (now_text(parts) if before is None else str(before[0]["at"]))
        try:
            return await parts.submit(submission_of(key, await make(instant, before)), account)
        except Refused:
            # The same form twice at once: the other may have been entered between the look and this.
            if before is not None:
                raise
            before = await asyncio.to_thread(_said_under, parts, account, key)
            if before is None:
                raise


def submission_of(key: str, records: Records) -> Submission:
    """The submission of these records. Raises MalformedRecord naming the field, as ``records[0].count``."""
    try:
        return msgspec.convert({"key": key, "records": records}, Submission)
    except msgspec.ValidationError as error:
        problem, _, place = str(error).rpartition(" - at ")
        where = place.strip("`").removeprefix("$.")
        if where == "key":
            raise MalformedInput("form has no key", where="key", mend="load the page again") from error
        raise MalformedRecord(
            "field is not as a record has it", got=problem or place, where=where, mend="correct the field"
        ) from error


def now_text(parts: Parts) -> str:
    """The service's instant now, as a record has it, by the plant's wall clock: expiry goes by the day that it shows."""
    now_ms = parts.book.clock_ms()
    offset = dt.datetime.fromtimestamp(now_ms / 1000, time_zone(parts.settings.time_zone)).utcoffset() or dt.timedelta()
    return format_instant(Instant(now_ms, int(offset.total_seconds()) // 60))


def with_query(address: str, **fields: str) -> str:
    """An address with some more fields in its query; empty ones are left out."""
    said = "&".join(f"{name}={quote(value, safe='')}" for name, value in fields.items() if value)
    return address + (("&" if "?" in address else "?") + said if said else "")


def field_of(where: str) -> str:
    """The field of a record that a problem names, without the record's own place: ``blocks[1].lot``."""
    found = _ADDRESS.match(where)
    return found.group(1) if found else where


def _said_under(parts: Parts, account: Account, key: str) -> Records | None:
    """The records, as they stand, of the entry that an account's key became; None for a new key."""
    with open_reader(parts.book.store) as reader:
        index = reader.requested(account.account, key)
        if index is None:
            return None
        records: Records = decode_said(reader.entry(index).bytes).said["records"]
    return records
