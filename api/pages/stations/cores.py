"""Cores: blocks overmoulded with core compound, trimmed, tumbled."""

from __future__ import annotations

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.lot_acts import OF_PIECES
from api.pages.stations.pours import batches, parents, pour
from api.pages.stations.typed import Typed

STEPS = ("trimmed", "tumbled")


def _poured(form: Typed, _post: Post, at: str) -> Records:
    return [pour(form, "cores-poured", at, blocks=parents(form), batches=batches(form))]


ACTS = (Act("pour", "cores-poured", _poured, lot_of, N_("Core lot %(lot)s is entered.")), *OF_PIECES)
