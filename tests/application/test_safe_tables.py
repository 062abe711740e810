"""Tables that are handed out hold no text that a spreadsheet would take for a formula."""

from __future__ import annotations

import csv
import io

import pytest

from ledger.application.import_outcomes import LineOutcome, OutcomeTable
from tests.application.floor import Floor
from tests.application.import_files import csv_of, dry, ran

FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx")


@pytest.mark.parametrize("text", FORMULAS)
def test_what_became_of_lines_is_told_without_formulas(text: str) -> None:
    """A reason may quote a cell of the file, which anyone may have written."""
    out = io.BytesIO()
    OutcomeTable(out).add([LineOutcome(line=2, outcome="refused", code="x", column=text, reason=text, mend=text)])
    (row,) = csv.DictReader(io.StringIO(out.getvalue().decode(), newline=""))
    assert [f"'{text}"] * 3 == [row["column"], row["reason"], row["mend"]]
    assert "2" == row["line"]


def test_dry_run_and_run_still_tell_the_same(floor: Floor) -> None:
    """Lines whose cells begin like a formula."""
    raw = csv_of(
        ("made_on", "serial", "model"), *(("2001-01-01", f"88{n}", text) for n, text in enumerate(FORMULAS[:4]))
    )
    expected = [{**line, "entry": "", "mend": ""} for line in dry(floor.book, raw, "balls")]
    told = [{**line, "entry": "", "mend": ""} for line in ran(floor.book, raw, "balls", floor.lead)]
    assert expected == told
    assert ["refused"] * 4 == [line["outcome"] for line in told]
