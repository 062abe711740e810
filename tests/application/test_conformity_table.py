"""The table of a population: one line a ball, which says what the verdicts say."""

from __future__ import annotations

import csv
import io

import pytest

from ledger.application.conformity_table import write_table
from ledger.conformity.outcome import CAUTION
from ledger.conformity.words import OUTCOME_WORDS
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, engraved


@pytest.fixture
def few(ready: Floor) -> Floor:
    """A good ball, a soft one, and one that was never measured."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2", readings={"hardness": "72.5"})
    ready.say(engraved("U-3", "P-3", 80))
    return ready


def table(floor: Floor, form: str = "csv", model: str | None = None) -> bytes:
    """The file."""
    out = io.BytesIO()
    with open_reader(floor.book.store) as reader:
        write_table(reader, Selection(model=model), "usbc-2026", out=out, form=form)
    return out.getvalue()


def lines(raw: bytes) -> list[dict[str, str]]:
    """The lines of a CSV file after its notes."""
    return list(csv.DictReader(line for line in io.StringIO(raw.decode(), newline="") if not line.startswith("#")))


def test_each_ball_has_a_line_with_its_verdicts(few: Floor) -> None:
    """Values in the unit measured, the outcome of every limit, and of the whole ball."""
    found = lines(table(few))
    assert ["P-1", "P-2", "P-3"] == [line["serial"] for line in found]
    assert [("74", "Shore D"), ("72.5", "Shore D"), ("", "")] == [
        (line["hardness"], line["hardness unit"]) for line in found
    ]
    judged = {unit: few.book.judged(unit)[0] for unit in ("U-1", "U-2", "U-3")}
    for line in found:
        by = judged[line["unit"]]
        assert OUTCOME_WORDS[by.outcome] == line["whole ball"]
        alone = {one.requirement: OUTCOME_WORDS[one.outcome] for one in by.verdicts if one.per == "ball"}
        assert alone == {id: line[id] for id in alone}


def test_the_file_says_what_it_is_and_is_not(few: Floor) -> None:
    """The edition with its digest, and that a verdict is no approval, stand before the head; lines end as RFC 4180 has it."""
    raw = table(few).decode()
    assert raw.split("\r\n")[1] == f"# {CAUTION}"
    assert "digest" in raw.split("\r\n")[0]
    assert raw.count("\n") == raw.count("\r\n")


def test_a_selection_without_balls_has_a_head_alone(few: Floor) -> None:
    """Nothing selected, nothing listed."""
    assert [] == lines(table(few, model="M9"))


def test_parquet_holds_the_same_cells(few: Floor) -> None:
    """Column by column, and the notes as metadata."""
    parquet = pytest.importorskip("pyarrow.parquet", reason="the extra for Parquet is not installed")
    read = parquet.read_table(io.BytesIO(table(few, "parquet")))
    assert [dict(line) for line in lines(table(few))] == read.to_pylist()
    assert CAUTION.encode() == read.schema.metadata[b"note-2"]


def test_an_unknown_rulebook_is_not_found(few: Floor) -> None:
    """Before anything is written."""
    out = io.BytesIO()
    with open_reader(few.book.store) as reader, pytest.raises(NotFound):
        write_table(reader, Selection(), "none", out=out)
    assert b"" == out.getvalue()
