"""Files to import, for tests: each line with its own fault, and what becomes of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from ledger.application.import_lines import ImportFile
from ledger.application.importing import Run, dry_run_told, run_import
from ledger.application.pourbook import Pourbook
from ledger.line.imports import Sort
from ledger.store.reader import open_reader

BALLS = """made_on,serial,model,weight_class,colours,grade,unit,note
1998-05-01,8812345,M1,15,blue/pearl,first,,a museum piece
2008-05-01,8812345,M1,16,,,,
1999-02-30,8812346,,,,,,
2001-01-01,,,,,,OLD-1,
2001-01-01,AB%12,,,,,,
2001-01-01,8812347,NONE,,,,,
2001-01-01,8812348,,40,,,,
2001-01-01,8812349,,,Blue!,,,
2001-01-01,8812350,,,,,OLD-1,
,8812351,,,,,,
2999-01-01,8812352,,,,,,
2001-01-01,8812353
2001-01-01,8812354,,,,,OLD-2,
"""
"""Lines 2 to 14: accepted are 2, 3, 5 and 14."""

BALLS_REFUSED = [
    (4, "malformed-record", "made_on"),
    (6, "malformed-serial", "serial"),
    (7, "unknown-subject", "model"),
    (8, "malformed-value", "weight_class"),
    (9, "malformed-value", "colours"),
    (10, "contradiction", "unit"),
    (11, "missing-value", "made_on"),
    (12, "malformed-value", "made_on"),
    (13, "malformed-line", ""),
]
"""Line, code and column of those that are refused."""

Told = list[dict[str, str]]


def told(out: io.BytesIO) -> Told:
    """The answer's lines."""
    return list(csv.DictReader(io.StringIO(out.getvalue().decode(), newline="")))


def dry(book: Pourbook, raw: bytes, what: Sort) -> Told:
    """What a dry run says of each line."""
    out = io.BytesIO()
    with open_reader(book.store) as reader:
        dry_run_told(reader, ImportFile(raw, what), author="a-1", now_ms=book.clock_ms(), told=Run(out))
    return told(out)


def ran(book: Pourbook, raw: bytes, what: Sort, account: object, **run: object) -> Told:
    """What the run says of each line."""
    out = io.BytesIO()
    run_import(book, raw, what, account, Run(out, **run))  # type: ignore[arg-type]  # an account; the fields of a run
    return told(out)


def verdicts(lines: Told) -> list[dict[str, str]]:
    """The lines without the addresses, which a dry run does not give, and the mends, which are not kept."""
    return [{name: cell for name, cell in line.items() if name not in {"entry", "mend"}} for line in lines]


def refused(lines: Told) -> list[tuple[int, str, str]]:
    """Line, code and column of those that are refused."""
    return [(int(line["line"]), line["code"], line["column"]) for line in lines if line["outcome"] == "refused"]


def csv_of(header: Sequence[str], *rows: Sequence[object]) -> bytes:
    """A file of rows."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows([header, *rows])
    return text.getvalue().encode()
