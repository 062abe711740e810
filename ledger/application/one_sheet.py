"""The sheet of one ball as a dossier would hold it, without the dossier."""

from __future__ import annotations

from typing import NamedTuple

from ledger.application.adopted_files import rulebooks_here
from ledger.application.dossier_rows import DossierRows
from ledger.application.imported_sources import refuse_imported
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, ball_sheet
from ledger.evidence.dossier_format import BallSheet
from ledger.line.rows import Plan
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class OneSheet(NamedTuple):
    """What the book holds of a ball, and its sheet."""

    rows: BallRows
    sheet: BallSheet


def one_sheet(reader: Reader, unit: str) -> OneSheet:
    """The sheet of a ball by every edition that a plan of its model names. Raises NotFound, also for an imported ball."""
    refuse_imported(reader, [unit])
    rows = next(DossierRows(reader).balls([unit]))
    return OneSheet(rows, ball_sheet(rows, dated_rulebooks(reader, rows.model.model)))


def dated_rulebooks(reader: Reader, model: str) -> list[DatedRulebook]:
    """The rulebooks that any plan of a model names, every edition, ascending by digest."""
    plans: list[Plan] = rows_with(reader, Plan, "model", [model])
    names = {name for plan in plans for name in plan.rulebooks.split(",") if name}
    editions = (edition for edition in rulebooks_here(reader).editions if edition.rulebook.id in names)
    return [DatedRulebook(one.digest, one.rulebook) for one in sorted(editions, key=lambda one: one.digest)]
