"""The events of a plant in which everything happened are the same, told quickly or in full."""

from __future__ import annotations

import io
from pathlib import Path

from ledger.book.checkpoint import parse_checkpoint
from ledger.conformity.rulebook import parse_rulebook
from ledger.evidence.archive import Archive
from ledger.evidence.ball_rows import BallFold
from ledger.evidence.ball_sheet import DatedRulebook, ball_sheet
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.entry_facts import EntryFacts
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.event_facts import EventFacts, ToldEntry
from ledger.evidence.event_names import Plant
from ledger.evidence.events import Events
from ledger.evidence.judged import judged_in
from ledger.evidence.sheet_text import SheetText
from tests.application.told_plant import STEM, told_plant
from tests.application.wanted_dossiers import checked, written


def test_quickly_is_as_in_full(tmp_path: Path) -> None:
    """Every ball of a lot, out of the entries of its dossier, with the verdicts of its sheet, made either way."""
    floor = told_plant(tmp_path)
    raw = written(floor, lots=("SL-1",))
    floor.book.close()
    archive = Archive(io.BytesIO(raw))
    layout, proved = parse_layout(archive.names), ProvedEntries(archive)
    facts = EntryFacts(lambda unit: unit in layout.units)
    told = EventFacts(lambda unit: unit in layout.units, lambda index: ToldEntry(*proved.read(index), frozenset()))
    for index in layout.indexes:
        for taker in (facts, told):
            taker.take(*proved.read(index))
    facts.settle()
    origin = parse_checkpoint(archive.read("checkpoint", 100_000)).origin
    events, fold = Events(Plant(STEM, origin), told), BallFold(facts)
    rulebooks = [
        DatedRulebook(digest, parse_rulebook(archive.read(f"rulebooks/{digest}.toml", 1_000_000)))
        for digest in layout.rulebooks
    ]
    text = SheetText(rulebooks)
    assert len(layout.units) > 5
    for unit in layout.units:
        rows = fold.rows_of(unit, facts.unit_facts(unit, proved.read), unit)
        judged = judged_in(ball_sheet(rows, rulebooks).tables)
        assert judged == text.sheet(rows).judged
        assert events.of_ball(rows, judged, quickly=False) == events.of_ball(rows, judged)
    assert len(layout.units) == checked(raw).counts.events
