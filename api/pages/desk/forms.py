"""What the forms of these pages share: what was typed, saying it once, and showing it again where it was refused."""

from __future__ import annotations

import datetime as dt
import re
import secrets
import unicodedata
from collections.abc import Collection, Mapping
from typing import Any, NamedTuple, TypeVar

import msgspec
from litestar import Request
from markupsafe import Markup

from api.guards import account_of
from api.pages.access.forms import Form
from api.pages.page import catalogue_of, english
from api.parts import parts_of
from api.problems import Problem, problem_of
from api.request_body import misfit
from ledger.access.roles import MAY_SAY
from ledger.book.instant import Instant, format_instant
from ledger.errors import KeyReused, MalformedInput
from ledger.line.record import Record
from ledger.line.submission import Submission
from ledger.store.answer import Entered

R = TypeVar("R", bound=Record)
S = TypeVar("S", bound=msgspec.Struct)

AGAIN = "again"
"""The note on a form that had been sent before."""

_KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,99}", re.ASCII)
_OF_RECORD = re.compile(r"^records\[\d+\]\.?")


class Typed(dict[str, str]):
    """What was typed into a form, by field; a field that was not there is empty."""

    def __missing__(self, _name: str) -> str:
        """Nothing was typed."""
        return ""


class Fault(NamedTuple):
    """Why a form was refused; ``wrong``: the fields that it is about, each with the words beside it."""

    problem: Problem
    wrong: Mapping[str, Markup]


def typed_in(form: Form, names: Collection[str]) -> Typed:
    """The fields of a form as one line or several, composed (NFC) and with plain line ends, as the book keeps text."""
    return Typed({name: _plain(form.text(name)) for name in names})


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text.replace("\r\n", "\n"))


def fault_of(request: Request[Any, Any, Any], error: Exception, fields: Mapping[str, str] | None = None) -> Fault:
    """What a form shows of an error. ``fields``: the field of the form for a field of the record, where they differ."""
    problem = problem_of(error, request.scope["path"]).problem
    where = re.sub(r"\[\d+\]", "", _OF_RECORD.sub("", problem.where))
    field = (fields or {}).get(where, where)
    return Fault(problem, {field: english(problem.detail, catalogue_of(request).language)} if field else {})


def fresh_key() -> str:
    """A key for one rendering of a form: sent twice, it enters once."""
    return f"form-{secrets.token_urlsafe(16)}"


def key_of(form: Form) -> str:
    """The key that a form was rendered with. Raises MalformedInput."""
    key = form.text("key")
    if not _KEY.fullmatch(key):
        raise MalformedInput(
            "form has no key", expected="1 to 100 letters, digits, . _ : -", where="key", mend="load the page again"
        )
    return key


def now_text(request: Request[Any, Any, Any]) -> str:
    """The service's instant, as records say it."""
    return format_instant(Instant(parts_of(request).book.clock_ms(), 0))


def record_of(kind: type[R], fields: Mapping[str, Any]) -> R:
    """A record from what was typed; empty fields are left out. Raises MalformedInput naming the field."""
    said = {name: value for name, value in fields.items() if value not in ("", (), {}, None)}
    try:
        return msgspec.convert(said | {"kind": kind.__struct_config__.tag}, kind, strict=False)
    except msgspec.ValidationError as error:
        raise misfit(error) from error


async def say(request: Request[Any, Any, Any], key: str, *records: Record) -> Entered | None:
    """Say records; None where this form had been sent before, so that the book has it as it was then."""
    submission = Submission(key=key, records=records)
    try:
        return await parts_of(request).submit(submission, account_of(request))
    except KeyReused:
        return None


def may_say(request: Request[Any, Any, Any], kind: str) -> bool:
    """Whether who looks may say records of a kind, so that its form is shown."""
    return not MAY_SAY[kind].isdisjoint(account_of(request).roles)


def asked_in(request: Request[Any, Any, Any], shape: type[S]) -> S:
    """What a page was asked with; a form sends its empty fields too, which say nothing. Raises MalformedInput."""
    given = {name: str(text) for name, text in request.query_params.items() if text}
    try:
        return msgspec.convert(given, shape, strict=False)
    except msgspec.ValidationError as error:
        raise misfit(error) from error


def note_in(request: Request[Any, Any, Any], rests_on: Mapping[str, str], kinds: Collection[str]) -> str:
    """The note that an address asks for, where the book has what it tells of: anybody can write an address.

    ``rests_on``: the kind of record of each note, empty where the page is shown at all; ``kinds``: those that the book has.
    """
    note = request.query_params.get("note", "")
    if note == AGAIN:
        return note
    return note if note in rests_on and (not rests_on[note] or rests_on[note] in kinds) else ""


def today_of(request: Request[Any, Any, Any]) -> dt.date:
    """The day in the plant's zone."""
    moment = catalogue_of(request).moment(parts_of(request).book.clock_ms())
    return dt.date.min if moment is None else moment.date()
