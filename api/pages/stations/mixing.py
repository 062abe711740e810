"""Before the blocks: material comes in, and batches are mixed of it."""

from __future__ import annotations

from api.pages.catalogue import N_
from api.pages.stations.acts import Act, Post, base, lot_of
from api.pages.stations.answers import Records
from api.pages.stations.lot_acts import LOST, RECOUNTED, began_of
from api.pages.stations.pours import batches
from api.pages.stations.typed import Typed


def _received(form: Typed, _post: Post, at: str) -> Records:
    fields = form.picked("material", "supplier", "supplier_lot", "expires_on")
    if form.text("density"):
        fields["density"] = form.decimal("density")
    return [base(form, "material-received", at, lot=lot_of(form), kg=form.kg("received_kg"), **fields)]


def _mixed(form: Typed, _post: Post, at: str) -> Records:
    fields = form.picked("compound")
    if form.text("density"):
        fields["density"] = form.decimal("density")
    record = base(
        form,
        "batch-mixed",
        at,
        batch=lot_of(form),
        began_at=began_of(form, at),
        mixer=form.id("mixer"),
        draws=batches(form),
        **fields,
    )
    return [record]


ACTS = (
    Act("receive", "material-received", _received, lot_of, N_("Material lot %(lot)s is entered.")),
    Act("mix", "batch-mixed", _mixed, lot_of, N_("Batch %(lot)s is entered.")),
    LOST,
    RECOUNTED,
)
