"""The lots of a granted part themselves: what an outside auditor is shown of a shell lot that the grant names.

A grant opens its lots where nothing in it narrows them to some of their balls: a lot's account, steps and samples speak of
all of them. Shown is what `lot_view` has but the facts about it one by one, and which lots it was made from; amounts of
materials are not told, since they are the recipe.
"""

from __future__ import annotations

import msgspec

from ledger.application.lot_view import LotView, lot_above, lot_view
from ledger.errors import NotFound
from ledger.line.examination_rows import Examination
from ledger.line.rows import Lot
from ledger.store.reader import Reader


class MadeFrom(msgspec.Struct, frozen=True, kw_only=True):
    """A lot that goes into the lot; ``certainty``: certain, or possible where the records do not tell."""

    lot: str
    stage: str
    certainty: str
    level: int


class PartLot(msgspec.Struct, frozen=True, kw_only=True):
    """A lot of a part, and the lots above it."""

    examination: str
    lot: LotView
    made_from: tuple[MadeFrom, ...]


def open_lots(part: Examination) -> tuple[str, ...]:
    """The lots that a grant names and does not narrow to some of their balls; its models narrow them too (`part_lot`)."""
    narrowed = part.units or part.made_from_ms is not None or part.made_to_ms is not None
    return () if narrowed or not part.lots else tuple(part.lots.split(","))


def part_lot(reader: Reader, part: Examination, lot: str) -> PartLot:
    """One lot of a part. Raises NotFound."""
    row = reader.one(Lot, lot) if lot in open_lots(part) else None
    if row is None or (part.models and row.model not in part.models.split(",")):
        raise NotFound(
            f"lot {lot} is not itself in the part of examination {part.examination}",
            where="lot",
            mend="ask for one that the grant names, or for the balls that it opens",
        )
    above = lot_above(reader, lot).lots
    return PartLot(
        examination=part.examination,
        lot=lot_view(reader, lot, told=False),
        made_from=tuple(
            MadeFrom(lot=one.lot, stage=one.stage, certainty=one.certainty, level=one.level) for one in above
        ),
    )
