"""Things of the demo plant that example addresses name: a ball, its number, a lot of each stage, a claim and so on.

Those that a story of the plant is about are its own constants; the others are found in the book by what they are, so
that a change of the story does not lead an example astray.
"""

from __future__ import annotations

from fixtures_demo import approvals, bends
from ledger.application.book_checks import kept_checks
from ledger.line.case_rows import Case, Consignee
from ledger.line.claim_rows import Claim
from ledger.line.examination_rows import Examination
from ledger.line.reading_rows import Gauge
from ledger.line.rows import FactRow, Hold, Lot, Model, RulebookRow, Unit
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import every_row


def places_of(store: Store) -> dict[str, str]:
    """The value of each place by its name."""
    with open_reader(store) as reader:
        found = {**_balls(reader), **_lots(reader), **_others(reader), **_entries(reader)}
    checks = kept_checks(store)
    return {**found, "check": checks[0].check if checks else ""}


def _balls(reader: Reader) -> dict[str, str]:
    """A ball in each state by ``unit_STATE``, and one that was shipped as first quality, its number and its model."""
    units: list[Unit] = every_row(reader.transaction, Unit)
    shipped = next(row for row in units if row.state == "shipped" and row.grade == "first")
    models = {row.model: row for row in every_row(reader.transaction, Model)}
    lots = {row.lot: row for row in every_row(reader.transaction, Lot)}
    model = models[lots[shipped.lot].model]
    return {
        **{f"unit_{row.state}": row.unit for row in reversed(units)},
        "unit": shipped.unit,
        "serial": str(shipped.serial),
        "unit_lot": shipped.lot,
        "model": model.model,
        "gtin": model.gtin,
    }


def _lots(reader: Reader) -> dict[str, str]:
    """The last lot of each stage by ``lot_STAGE``, and the lots that the story is about."""
    rows: list[Lot] = every_row(reader.transaction, Lot)
    return {
        **{f"lot_{row.stage}": row.lot for row in sorted(rows, key=lambda row: row.began_ms)},
        "lot_claimed": bends.CLAIMED_LOT,
        "lot_mixed": bends.MIXED_LOT,
        "lot_soft": bends.SOFT_LOT,
        "lot_logged": bends.LOGGED_LOT,
    }


def _others(reader: Reader) -> dict[str, str]:
    """A claim in each state by ``claim_STATE``, a ball that is claimed, a case, and one of each register."""
    transaction = reader.transaction
    claims: list[Claim] = every_row(transaction, Claim)
    return {
        **{f"claim_{row.state}": row.claim for row in reversed(claims)},
        "claim": claims[0].claim,
        "unit_claimed": next(row.unit for row in claims if row.unit),
        "case": next((row.case for row in every_row(transaction, Case)), ""),
        "consignee": every_row(transaction, Consignee)[0].consignee,
        "gauge": every_row(transaction, Gauge)[0].gauge,
        "hold": next(row.hold for row in every_row(transaction, Hold) if row.open),
        "approval_done": approvals.DONE,
        "approval_waiting": approvals.WAITING,
        "examination": next((row.examination for row in every_row(transaction, Examination)), ""),
        "rulebook": next(row.rulebook for row in every_row(transaction, RulebookRow) if not row.superseded),
    }


def _entries(reader: Reader) -> dict[str, str]:
    """The entry of a claim, of a correction, and of a fact that it corrected."""
    opened, corrected = (
        every_row(reader.transaction, FactRow, condition)[0]
        for condition in ("\"kind\" = 'claim-opened'", '"standing" AND "body" <> \'\'')
    )
    return {
        "entry_claim": str(opened.index),
        "entry_corrected": str(corrected.index),
        "entry_correction": corrected.body.partition(".")[0],
    }
