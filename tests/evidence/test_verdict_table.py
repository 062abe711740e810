"""The table of verdicts: the sheets' own words and figures, for people with a spreadsheet."""

from __future__ import annotations

import csv
import io

import msgspec
import pytest

from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.verdict_table import COLUMNS, VerdictTableWriter
from tests.evidence.small_dossier import content, dossier, members, resealed, sheet, written
from tests.evidence.test_verifier import check, first_wrong


def table(*sheets: BallSheet, limit: int = 10) -> bytes | None:
    """The table of these balls."""
    writer = VerdictTableWriter(limit)
    for one in sheets:
        writer.take(one)
    return writer.text()


def test_each_verdict_has_its_line() -> None:
    """Of each ball, by each requirement, with value, limit and margin."""
    rows = list(csv.DictReader(io.StringIO(members(dossier())["verdicts.csv"].decode())))
    assert COLUMNS == tuple(rows[0])
    assert [("2345ACDFG", "hardness"), ("2345ACDFG", "mass"), ("2345ACDFH", "hardness"), ("2345ACDFH", "mass")] == [
        (row["serial"], row["requirement"]) for row in rows
    ]
    assert ("15.1", "<= 16 lb", "lb", "0.9", "conforms", "8.1") == tuple(
        rows[1][name] for name in ("value", "limit", "unit", "margin", "outcome", "fact")
    )


def test_of_too_many_balls_there_is_none() -> None:
    """A spreadsheet would not take it."""
    assert (None, None) == (table(sheet("U-1"), sheet("U-2"), limit=1), table())
    assert table(sheet("U-1"), limit=1) is not None


def test_what_looks_like_a_formula_is_kept_from_being_one() -> None:
    """An apostrophe before it."""
    odd = msgspec.structs.replace(sheet("U-1"), serial="=1+1", model="@x")
    assert b"'=1+1,U-1,'@x," in (table(odd) or b"")


def test_it_may_be_left_out() -> None:
    """It says nothing of its own."""
    raw = written(content(verdicts=False))
    assert ("verdicts.csv" in members(raw), 0) == (False, check(raw).counts.verdicts)


@pytest.mark.parametrize(
    ("old", "new"), [(b"15.1", b"15.2"), (b"conforms", b"undecided"), (b"\r\n", b"\n"), (b"0.9", b"1.9")]
)
def test_a_changed_table_is_found(old: bytes, new: bytes) -> None:
    """It is made again from the sheets, byte for byte."""
    files = members(dossier())
    assert old in files["verdicts.csv"]
    changed = {**files, "verdicts.csv": files["verdicts.csv"].replace(old, new, 1)}
    assert "verdicts.csv" == first_wrong(resealed(changed)).where
