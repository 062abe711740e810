"""Shells: cores overmoulded with urethane colours; locating hole drilled, pin filled, turned."""

from __future__ import annotations

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.lot_acts import OF_PIECES
from api.pages.stations.pours import batches, parents, pour
from api.pages.stations.typed import Typed

STEPS = ("hole-drilled", "pin-filled", "turned")


def _poured(form: Typed, _post: Post, at: str) -> Records:
    rows = form.rows("batch", "kg")
    colours = [{"colour": form.row("colour", row), **drawn} for row, drawn in zip(rows, batches(form), strict=True)]
    record = pour(
        form,
        "shells-poured",
        at,
        revision=form.count("revision"),
        weight_class=form.count("weight_class"),
        cores=parents(form),
        colours=colours,
    )
    return [record]


ACTS = (Act("pour", "shells-poured", _poured, lot_of, N_("Shell lot %(lot)s is entered.")), *OF_PIECES)
