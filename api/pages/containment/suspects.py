"""A suspect as an address or a form says it: ``sort``, ``name``, ``from``, ``to``, or the numbers."""

from __future__ import annotations

import datetime as dt
from typing import get_args
from urllib.parse import urlencode

import msgspec

from api.pages.catalogue import Catalogue
from api.pages.desk.forms import Typed
from api.request_body import misfit
from ledger.book.instant import Instant, format_instant
from ledger.errors import MalformedInput
from ledger.line.suspects import Suspect, SuspectSort, check_suspect

FIELDS = ("sort", "name", "from", "to", "serial_prefix", "first_serial", "last_serial")
SORTS: tuple[SuspectSort, ...] = get_args(SuspectSort)
_INSTANTS = {"from": "from_at", "to": "to_at"}
IN_FORM = {"suspect.name": "name", "suspect.from_at": "from", "suspect.to_at": "to", "from_at": "from", "to_at": "to"}


def suspect_from(typed: Typed, words: Catalogue) -> Suspect:
    """The suspect that was said. Raises MalformedInput, MalformedRecord naming the field."""
    said = {name: typed[name] for name in FIELDS if typed[name] and name not in _INSTANTS}
    if typed["sort"] not in {"week", "serials"} and "name" in said:
        said["name"] = said["name"].upper()
    said |= {_INSTANTS[name]: _instant(typed[name], name, words) for name in _INSTANTS if typed[name]}
    try:
        suspect = msgspec.convert(said, Suspect)
    except msgspec.ValidationError as error:
        raise misfit(error) from error
    check_suspect(suspect)
    return suspect


def _instant(text: str, where: str, words: Catalogue) -> str:
    """An instant as records say it, from one with or without an offset; the plant's zone where there is none."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError as error:
        raise MalformedInput(
            "no such instant", expected="a day and a time, as 2026-08-31T10:00", got=text, where=where
        ) from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=words.zone)
    offset = moment.utcoffset() or dt.timedelta()
    return format_instant(Instant(int(moment.timestamp() * 1000), int(offset.total_seconds() // 60)))


def address_of(typed: Typed) -> str:
    """The address of the page of a suspect."""
    return f"/containment?{urlencode({name: typed[name] for name in FIELDS if typed[name]})}"
