"""What may happen to a lot at any stage: a step, a change in mid-lot, a split, a loss, a new count."""

from __future__ import annotations

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, base, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.typed import Typed, earlier

CHANGES = ("mould-set", "line", "mixer", "shift", "setting")
HOWS = ("scrap", "destructive-test", "retained", "other")
LOSSES = ("crack", "void", "chip", "short-pour", "off-centre", "colour", "dropped", "machine", "test", "other")
"""Reasons of a loss that are offered (common practice, no source); more can be said in the note."""

RECOUNTS = ("counted", "found", "missing", "weighed", "other")


def began_of(form: Typed, at: str) -> str:
    """When an act that ended at ``at`` began: as typed, else so many minutes before as it took."""
    return form.instant("began") or earlier(at, form.count("minutes", empty=0))


def _step(form: Typed, post: Post, at: str) -> Records:
    record = base(
        form,
        "lot-worked",
        at,
        lot=lot_of(form),
        step=form.text("step"),
        began_at=began_of(form, at),
        station=post.station,
    )
    if form.text("grit"):
        record["grit"] = form.count("grit")
    return [record]


def _changed(form: Typed, _post: Post, at: str) -> Records:
    fields = {"lot": lot_of(form), "count": form.count("count"), "what": form.text("what"), "to": form.id("to")}
    return [base(form, "lot-changed", at, **fields)]


def _split(form: Typed, _post: Post, at: str) -> Records:
    return [base(form, "lot-split", at, lot=lot_of(form), into=form.id("into"), count=form.count("count"))]


def _lost(form: Typed, _post: Post, at: str) -> Records:
    fields = {"lot": lot_of(form), "count": form.count("count"), **form.picked("how", "reason")}
    return [base(form, "pieces-lost", at, **fields)]


def _recounted(form: Typed, post: Post, at: str) -> Records:
    return [base(form, "lot-recounted", at, lot=lot_of(form), left=_left(form, post), **form.picked("reason"))]


def _left(form: Typed, post: Post) -> int:
    """Pieces; of a material or a batch grams, typed as kilograms."""
    if post.stage != "mixing":
        return form.count("left")
    whole, _, part = form.kg("left").partition(".")
    return int(whole) * 1000 + int(part.ljust(3, "0"))


STEP = Act("step", "lot-worked", _step, lot_of, N_("Entered: %(step)s, lot %(lot)s."))
CHANGED = Act("change", "lot-changed", _changed, lot_of, N_("The change in lot %(lot)s is entered."))
SPLIT = Act(
    "split", "lot-split", _split, lambda form: form.id("into"), N_("Lot %(lot)s goes on by itself."), asks=False
)
LOST = Act("lost", "pieces-lost", _lost, lot_of, N_("The loss from lot %(lot)s is entered."))
RECOUNTED = Act("recount", "lot-recounted", _recounted, lot_of, N_("The count of lot %(lot)s is entered."))

OF_PIECES = (STEP, CHANGED, SPLIT, LOST, RECOUNTED)
