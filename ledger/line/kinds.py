"""The table of record kinds that state a fact of the line: a new kind is one type, its functions, and one line here.

Corrections and re-checks, which speak about facts, and the plant's limits and release policy, which are not corrected,
are added in `vocabulary`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Union

from ledger.line import (
    allotting,
    balls,
    book_keys,
    case_answers,
    cases,
    checklists,
    claim_openings,
    claim_replacements,
    claim_steps,
    consignees,
    cure_temperatures,
    failure_modes,
    gauge_studied,
    gauges,
    holds,
    imports,
    inspections,
    lot_changes,
    materials,
    models,
    moulding,
    releases,
    samples,
    shipments,
    warranty_terms,
)
from ledger.line.kind import Kind
from ledger.line.record import Record

PLAIN_KINDS: tuple[Kind, ...] = (
    *book_keys.KINDS,
    *models.KINDS,
    *checklists.KINDS,
    *gauges.KINDS,
    *gauge_studied.KINDS,
    *materials.KINDS,
    *moulding.KINDS,
    *lot_changes.KINDS,
    *cure_temperatures.KINDS,
    *allotting.KINDS,
    *balls.KINDS,
    *inspections.KINDS,
    *samples.KINDS,
    *holds.KINDS,
    *releases.KINDS,
    *consignees.KINDS,
    *shipments.KINDS,
    *cases.KINDS,
    *case_answers.KINDS,
    *failure_modes.KINDS,
    *warranty_terms.KINDS,
    *claim_openings.KINDS,
    *claim_steps.KINDS,
    *claim_replacements.KINDS,
    *imports.KINDS,
)

PLAIN_KIND_OF: dict[type[Record], Kind] = {kind.record: kind for kind in PLAIN_KINDS}

if TYPE_CHECKING:
    PlainRecord = Record
else:
    PlainRecord: Any = Union[tuple(PLAIN_KIND_OF)]  # noqa: UP007  # a union made from the table
