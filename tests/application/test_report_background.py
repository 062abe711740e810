"""What a report draws of a ball beside its sheet: stages of cure with the plan's windows, and the lines between its lots."""

from __future__ import annotations

import io

import pytest

from ledger.application.dossier_report import DossierReporter
from ledger.application.report_background import report_backgrounds
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from tests.application.floor import Floor
from tests.application.wanted_dossiers import written
from tests.evidence.reported import text_of
from tests.evidence.small_dossier import members


def test_background_is_that_of_the_ball_s_page(ready: Floor) -> None:
    """Stages, windows and margins are those that the page of the ball shows, and the lines are those of its lots."""
    ready.ball("U-1", "P-1")
    with open_reader(ready.book.store) as reader:
        (background,) = report_backgrounds(reader, ["U-1"]).values()
    ball = ready.book.ball("U-1")
    shown = [(one.stage, one.lot, one.began_at, one.elapsed_s, one.least_s, one.kept) for one in ball.cures]
    drawn = [(one.stage, one.lot, one.began, one.elapsed_s, one.least_s, one.kept) for one in background.cures]
    assert drawn == shown
    assert drawn != []
    lots = {one.lot for one in ball.materials}
    assert {link.upper for link in background.links} == lots
    assert {link.lower for link in background.links} <= {ball.lot, *lots}


def test_unknown_ball_is_refused(ready: Floor) -> None:
    """A unit that the book does not hold has no background."""
    with open_reader(ready.book.store) as reader, pytest.raises(NotFound):
        report_backgrounds(reader, ["U-404"])


def test_report_states_the_book_and_no_clock(ready: Floor) -> None:
    """It names the plant and the instant of the last entry, and twice the same dossier gives twice the same report."""
    ready.ball("U-1", "P-1")
    reports = [members(written(ready, serials=("P-1",), parts=("lots", "report")))["report.pdf"] for _ in range(2)]
    assert reports[0] == reports[1]
    text = text_of(reports[0])
    with open_reader(ready.book.store) as reader:
        raw = reader.entry(reader.head().size - 1).bytes
    recorded = raw.split(b'"recorded_at":"')[1][:19].decode().replace("T", " ")
    assert f"State of {recorded} UTC" in text
    assert "of Plant" in text
    assert "Cure and rest against the process plan" in text


def test_reporter_says_that_there_is_no_seal(ready: Floor) -> None:
    """Whoever asked is told how the last report was sealed."""
    ready.ball("U-1", "P-1")
    plain = written(ready, serials=("P-1",))
    reporter = DossierReporter(None, "Letter")
    with open_reader(ready.book.store) as reader:
        from ledger.application.dossier_scope import by_serials  # noqa: PLC0415

        made = reporter(reader, by_serials(reader, ["P-1"]), plain)
    assert reporter.said == "the report carries no seal"
    assert io.BytesIO(made).read(8) == b"%PDF-1.7"
