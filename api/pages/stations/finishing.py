"""Finishing: the whole lot sanded and polished; each ball spin-tested, its centre of gravity marked.

A ball is a unit from turning on, with its own tag or rack position.  The tag of a ball that is not in the book yet starts
it from the lot at hand, in the same entry as the step that was done on it.
"""

from __future__ import annotations

from typing import Any

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, base, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.lot_acts import OF_PIECES
from api.pages.stations.typed import Typed

STEPS = ("sanded", "polished", "finished")
BALL_STEPS = ("spin-tested", "cg-marked", "pin-marked")


def _ball(form: Typed, post: Post, at: str) -> Records:
    unit = {"unit": form.id("unit"), "station": post.station}
    step = form.text("step") or form.text("done_step")
    records = [base(form, "unit-worked", at, step=step, **unit)]
    if post.fresh:
        started: dict[str, Any] = {"kind": "unit-started", "at": at, "lot": lot_of(form), **unit}
        if form.text("place"):
            started["place"] = form.count("place")
        records.insert(0, started)
    return records


ACTS = (Act("ball", "unit-worked", _ball, lot_of, N_("Entered: %(step)s, ball %(unit)s.")), *OF_PIECES)
