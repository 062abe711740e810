"""Conformity of a selection as a table, one ball a line: to be opened by whatever reads CSV, or, as an extra, Parquet.

CSV is RFC 4180 in UTF-8, line ends CR LF.  Values are decimal text in the unit that was measured, which has a column of
its own.  Two lines before the head say what was judged and that it is no approval, each beginning with ``#``.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import Any, BinaryIO

from ledger.application.adopted_files import find_rulebook
from ledger.application.populations import Population
from ledger.application.release_policies import policy_in_force
from ledger.conformity.columns import NO_DAY, BallColumns, Judged
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.outcome import CAUTION, OUTCOMES
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.words import OUTCOME_WORDS
from ledger.errors import Unsupported
from ledger.line.quantity import SCALE, UNITS, format_number
from ledger.line.rows import Lot, Unit
from ledger.line.standing_readings import manner_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, select_units

FORMS = ("csv", "parquet")

_WORDS = tuple(OUTCOME_WORDS[outcome] for outcome in OUTCOMES)

Row = list[Any]


def write_table(reader: Reader, selection: Selection, rulebook: str, *, out: BinaryIO, form: str = "csv") -> int:
    """Write the table to ``out``; the number of balls. Memory is that of one chunk.

    Raises NotFound for an unknown rulebook, Unsupported for Parquet where its library is not installed.
    """
    edition, policy = find_rulebook(reader, rulebook), policy_in_force(reader)
    population = Population(reader, selection, edition.rulebook)
    judge = population.judge(house_policy(policy), keep_worst=0)
    quantities = tuple(dict.fromkeys(one.quantity for one in edition.rulebook.requirements if one.per == "ball"))
    head = _head(edition.rulebook, quantities, house=policy is not None)
    said = f"{edition.rulebook.title}, edition {edition.rulebook.edition}, digest {edition.digest}"
    write = _writer(form, out, head, (said, CAUTION))
    count = 0
    for chunk in population.columns():
        judged = population.take(judge, chunk, each=True)
        rows = list(_rows(reader, chunk, judged, quantities, edition.rulebook, house=policy is not None))
        write(rows)
        count += len(rows)
    write(None)
    return count


def _head(rulebook: Rulebook, quantities: Sequence[str], *, house: bool) -> list[str]:
    measured = [f"{quantity}{part}" for quantity in quantities for part in ("", " unit")]
    requirements = [one.id for one in rulebook.requirements if one.per == "ball"]
    first = ["serial", "unit", "lot", "model", "weight class", "state", "grade", "made on"]
    return [*first, *measured, *requirements, "whole ball", *(["by the house's rule"] if house else [])]


def _rows(
    reader: Reader, chunk: BallColumns, judged: Judged, quantities: Sequence[str], rulebook: Rulebook, *, house: bool
) -> Iterator[Row]:
    found = {one.unit.unit: one for one in select_units(reader.transaction, chunk.units)}
    each = [judged.each[one.id] for one in rulebook.requirements if one.per == "ball"]
    for place, unit in enumerate(chunk.units):
        one = found[unit]
        verdicts = [_WORDS[ranks[place]] for ranks in each]
        ends = [_WORDS[judged.own[place]], *([_WORDS[judged.house[place]]] if house else [])]
        day = int(chunk.made_day[place])
        yield [*_known(one.unit, one.lot, day), *_measured(one, quantities), *verdicts, *ends]


def _known(unit: Unit, lot: Lot, day: int) -> Row:
    made = "" if day == NO_DAY else (dt.date(1970, 1, 1) + dt.timedelta(days=day)).isoformat()
    weight_class = unit.weight_class or lot.weight_class
    return [
        unit.serial or "",
        unit.unit,
        unit.lot,
        lot.model or "",
        weight_class or "",
        unit.state,
        unit.grade or "",
        made,
    ]


def _measured(one: Selected, quantities: Sequence[str]) -> Row:
    manner = manner_of(one.measured)
    cells: Row = []
    for quantity in quantities:
        how = manner.get(quantity)
        if how is None:
            cells += ["", ""]
        else:
            value = Fraction(getattr(one.measured, quantity), SCALE)
            cells += [format_number(value), UNITS[how.unit].printed]
    return cells


def _writer(
    form: str, out: BinaryIO, head: Sequence[str], notes: Sequence[str]
) -> Callable[[Sequence[Row] | None], None]:
    """Takes rows as they come, and None after the last."""
    return _parquet_writer(out, head, notes) if form == "parquet" else _csv_writer(out, head, notes)


def _csv_writer(out: BinaryIO, head: Sequence[str], notes: Sequence[str]) -> Callable[[Sequence[Row] | None], None]:
    text = io.StringIO(newline="")
    lines = csv.writer(text, lineterminator="\r\n")
    text.writelines(f"# {note}\r\n" for note in notes)
    lines.writerow(head)

    def write(rows: Sequence[Row] | None) -> None:
        lines.writerows([_plain(cell) for cell in row] for row in rows or ())
        out.write(text.getvalue().encode())
        text.seek(0)
        text.truncate()

    return write


def _plain(cell: Any) -> Any:
    """A text that a spreadsheet would take for a formula is kept from it by a leading apostrophe."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "@", "\t", "\r"} else cell


def _parquet_writer(out: BinaryIO, head: Sequence[str], notes: Sequence[str]) -> Callable[[Sequence[Row] | None], None]:
    try:
        import pyarrow as pa  # noqa: PLC0415  # an extra
        import pyarrow.parquet as pq  # noqa: PLC0415  # an extra
    except ImportError as error:
        raise Unsupported(
            "Parquet needs a library that is not installed",
            where="form",
            mend="install the extra (pip install 'pourbook[parquet]'), or ask for csv",
        ) from error
    about = {f"note-{number}": note for number, note in enumerate(notes, 1)}
    schema = pa.schema([(name, pa.string()) for name in head], metadata=about)
    written = pq.ParquetWriter(out, schema)

    def write(rows: Sequence[Row] | None) -> None:
        if rows is None:
            written.close()
        elif rows:
            columns = [pa.array([str(cell) for cell in cells], pa.string()) for cells in zip(*rows, strict=True)]
            written.write_table(pa.table(columns, schema=schema))

    return write
