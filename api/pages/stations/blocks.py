"""Weight blocks: moulded from a batch, cleaned, rested."""

from __future__ import annotations

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.lot_acts import OF_PIECES
from api.pages.stations.pours import batches, pour
from api.pages.stations.typed import Typed

STEPS = ("cleaned", "rested")


def _moulded(form: Typed, _post: Post, at: str) -> Records:
    return [pour(form, "blocks-moulded", at, batches=batches(form))]


ACTS = (Act("pour", "blocks-moulded", _moulded, lot_of, N_("Block lot %(lot)s is entered.")), *OF_PIECES)
