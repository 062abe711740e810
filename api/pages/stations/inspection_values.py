"""What the inspection page shows: a ball and what is to be read of it, a lot's balls, and the verdict as it forms."""

from __future__ import annotations

from typing import Any, NamedTuple

import msgspec

from api.pages.stations.answers import now_text, submission_of
from api.pages.stations.inspection_form import inspection_record, readings_typed
from api.pages.stations.typed import Typed
from api.parts import Parts
from ledger.access.tokens import Account
from ledger.application.at_station import last_said
from ledger.application.ball_view import BallFound, find_units
from ledger.application.inspection_list import AskedReading, InspectionList, balls_to_read, inspection_list
from ledger.application.lot_account import known_lot_row
from ledger.application.registers import GaugeSeen, gauges_at
from ledger.application.tentative_verdict import Tentative, judge_tentative
from ledger.conformity.outcome import Verdict
from ledger.errors import LedgerError
from ledger.line.inspections import Inspection
from ledger.store.reader import open_reader

NEXT_KEPT = 3
"""Pages of the next balls of the lot that a browser keeps for when the connection is lost."""


class Forming(msgspec.Struct, frozen=True, kw_only=True):
    """The verdict as it forms. ``wrong``: by field, what could not be read; ``error``: why nothing could be judged.

    ``missing``: quantities that the plan asks of this ball, neither on record nor typed.
    """

    tentative: Tentative | None
    wrong: dict[str, LedgerError]
    missing: tuple[str, ...]
    typed: tuple[str, ...]
    error: LedgerError | None = None


class Remembered(NamedTuple):
    """The gauges chosen at this browser, by quantity."""

    gauges: dict[str, str]

    def chosen(self, asked: AskedReading) -> str:
        """The gauge that stands in the form at first: as chosen last, else the only one that may be used."""
        usable = [gauge.gauge for gauge in asked.gauges if gauge.usable]
        last = self.gauges.get(asked.quantity, "")
        if last in usable:
            return last
        return usable[0] if len(usable) == 1 else ""


def ball_values(parts: Parts, unit: str, done: str, account: Account) -> dict[str, Any]:
    """What is shown of one ball; ``done``: the entry that was just made of it, by its address. Raises NotFound."""
    now_ms = parts.book.clock_ms()
    with open_reader(parts.book.store) as reader:
        seen = inspection_list(reader, unit, now_ms)
        waiting = [ball for ball in balls_to_read(reader, seen.ball.lot) if ball.missing and ball.unit != unit]
        said = last_said(reader, f"unit:{unit}", account, now_ms)
    return {
        "seen": seen,
        "holds": [hold for hold in seen.ball.holds if hold.open],
        "following": waiting[:NEXT_KEPT],
        "said": said,
        "done": done if any(str(entry.index) == done for entry in said) else "",
    }


def lot_values(parts: Parts, lot: str) -> dict[str, Any]:
    """What is shown of a lot. Raises NotFound."""
    with open_reader(parts.book.store) as reader:
        row = known_lot_row(reader, lot)
        return {"lot_row": row, "balls": balls_to_read(reader, lot)}


def balls_of(parts: Parts, serial: str) -> tuple[BallFound, ...]:
    """Every ball that a number may mean."""
    with open_reader(parts.book.store) as reader:
        return find_units(reader, serial)


def gauges_now(parts: Parts) -> dict[str, GaugeSeen]:
    """Every gauge by id, with its standing now."""
    with open_reader(parts.book.store) as reader:
        return {gauge.gauge: gauge for gauge in gauges_at(reader, parts.book.clock_ms())}


def forming(parts: Parts, typed: Typed, station: str, account: Account, seen: InspectionList | None = None) -> Forming:
    """The verdict with what is typed as if it were entered now. Raises NotFound for no ball."""
    if seen is None:
        with open_reader(parts.book.store) as reader:
            seen = inspection_list(reader, typed.id("unit"), parts.book.clock_ms())
    gauges = {gauge.gauge: gauge for asked in seen.asked for gauge in asked.gauges}
    readings, wrong = readings_typed(typed, gauges)
    quantities = tuple(reading["quantity"] for reading in readings)
    missing = tuple(asked.quantity for asked in seen.asked if asked.needed and asked.quantity not in quantities)
    if not readings:
        standing = Tentative(judged=seen.ball.judged)
        return Forming(tentative=standing, wrong=wrong, missing=missing, typed=())
    try:
        record = inspection_record(typed, now_text(parts), station, readings)
        inspection = submission_of("tentative", [record]).records[0]
        tentative = _judged(parts, inspection, account)
    except LedgerError as error:
        return Forming(tentative=None, wrong=wrong, missing=missing, typed=quantities, error=error)
    return Forming(tentative=tentative, wrong=wrong, missing=missing, typed=quantities)


def _judged(parts: Parts, inspection: Any, account: Account) -> Tentative:
    said: Inspection = inspection
    return judge_tentative(parts.book.store, said, author=account.account, now_ms=parts.book.clock_ms())


def shown_first(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Verdicts that apply to this ball, those that say the same once; the ball's own page has all of them."""
    found = {
        (one.quantity, one.limit, one.unit, one.outcome, one.value): one
        for one in reversed(verdicts)
        if one.outcome != "not_applicable"
    }
    return list(reversed(found.values()))
