"""What can be said at a station: an act is one form, the records that it makes, and what is told afterwards."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from api.pages.stations.answers import Records
from api.pages.stations.typed import Typed


class Post(NamedTuple):
    """Where a form was sent from: the stage of its page, and the id of the station that records name.

    ``fresh``: the ball that it names is not in the book yet.
    """

    stage: str
    station: str
    fresh: bool = False


class Act(NamedTuple):
    """One form. ``make`` gives its records as JSON objects, for the instant at which the act ended.

    ``kind``: the record kind that an account must be allowed to say.  ``said``: a message with the form's own ``lot``
    (what ``names`` gives).  ``asks``: whether the book is asked first; a decision is refused by the book itself.
    """

    name: str
    kind: str
    make: Callable[[Typed, Post, str], Records]
    names: Callable[[Typed], str]
    said: str
    asks: bool = True


def base(form: Typed, kind: str, at: str, **fields: Any) -> dict[str, Any]:
    """A record with what every record may say: its instant, the error of the device's clock, a note."""
    record: dict[str, Any] = {"kind": kind, "at": at, **fields}
    if form.text("clock_error_s"):
        record["clock_error_s"] = form.count("clock_error_s")
    if form.text("note"):
        record["note"] = form.text("note")
    return record


def lot_of(form: Typed) -> str:
    """The lot that a form is about."""
    return form.id("lot")
