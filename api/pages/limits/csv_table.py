"""Tables to download: RFC 4180 in UTF-8, line ends CR LF, with notes before the head that each begin with ``#``."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from litestar import Response

from api.operation import Operation, described
from api.parts import file_answer
from ledger.application.plain_cells import plain

CSV = "text/csv; charset=utf-8; header=present"


def numbers_of(summary: str, query: type[Any]) -> dict[str, Any]:
    """The description of a file with the numbers behind an answer; ``query``: the Struct that its address says."""
    return described(
        Operation(summary, "quality", action="conformity", query=query, media=CSV, problems=(404, 413), may_lag=True)
    )


class Figure(str):
    """Decimal text that goes into a cell as it is, its sign too."""

    __slots__ = ()


def csv_answer(name: str, notes: Sequence[str], head: Sequence[str], rows: Iterable[Sequence[Any]]) -> Response[bytes]:
    """A table as a file of this name. Texts that a spreadsheet would take for formulas are kept from it."""
    text = io.StringIO(newline="")
    text.writelines(f"# {note}\r\n" for note in notes)
    lines = csv.writer(text, lineterminator="\r\n")
    lines.writerow(head)
    lines.writerows([_cell(cell) for cell in row] for row in rows)
    return file_answer(text.getvalue().encode(), CSV, name=name)


def _cell(cell: Any) -> Any:
    return plain(cell) if isinstance(cell, str) and not isinstance(cell, Figure) else cell
