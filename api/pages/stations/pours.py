"""The parts that every pour's form has: its lot, line, mould, counts and time, and the rows of what went into it."""

from __future__ import annotations

from typing import Any

from api.pages.stations.acts import base, lot_of
from api.pages.stations.lot_acts import began_of
from api.pages.stations.typed import Typed


def pour(form: Typed, kind: str, at: str, **fields: Any) -> dict[str, Any]:
    """A pour that ended, with the demoulding, at ``at``."""
    return base(
        form,
        kind,
        at,
        lot=lot_of(form),
        model=form.id("model"),
        line=form.id("line"),
        mould_set=form.id("mould_set"),
        mixer=form.id("mixer"),
        began_at=began_of(form, at),
        count=form.count("count"),
        rejects=form.count("rejects", empty=0),
        **fields,
    )


def batches(form: Typed) -> list[dict[str, Any]]:
    """Batches (or material lots) and their kilograms, as typed in rows."""
    return [{"lot": form.id("batch", row), "kg": form.kg("kg", row)} for row in form.rows("batch", "kg")]


def parents(form: Typed) -> list[dict[str, Any]]:
    """Lots whose pieces went in, how many of each, and where recorded the positions that hold them."""
    found = []
    for row in form.rows("parent", "pieces"):
        drawn: dict[str, Any] = {"lot": form.id("parent", row), "count": form.count("pieces", row)}
        for end in ("first", "last"):
            if form.row(end, row):
                drawn[end] = form.count(end, row)
        found.append(drawn)
    return found
