"""Dossiers: one of many balls streamed and checked, in processes of their own; one of a single ball, with its report and without.

A check is held against hashing the same bytes and checking the same signatures.
"""

from __future__ import annotations

import io
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from statistics import median

import msgspec

from ledger.application.dossier_report import DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.dossiers import USUAL_PARTS
from ledger.book.instant import Instant, format_instant
from ledger.line.lot_changes import balls_root
from ledger.line.rows import Lot, Unit
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ops.bench.dossier_child import Taken
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.plant import HOUR_MS, LABEL_STEM, LOT, SIGNERS, say

MEMORY_MB = 300
ONE_BALL_S, WITH_REPORT_S = 0.3, 1.5
ASKS = 20
"""Dossiers of one ball a round."""


def measure_dossiers(field: Field) -> list[Row]:
    """All in turn, ``rounds`` times; the rows of the table."""
    count = min(field.sizes.dossier, field.balls)
    _close_lots(field, count)
    file = field.product / "dossier.zip"
    halves, wholes, checks = list[Taken](), list[Taken](), list[Taken]()
    single, reported = list[float](), list[float]()
    for _ in range(field.sizes.rounds):
        halves.append(_child("write", field.plant.url, str(file), str(count // 2)))
        wholes.append(_child("write", field.plant.url, str(file), str(count)))
        checks.append(_child("check", str(file)))
        single.append(_one_ball(field, with_report=False))
        reported.append(_one_ball(field, with_report=True))
    file.unlink()
    return [*_streamed(halves, wholes), _checked(checks), *_of_one(single, reported)]


def _streamed(halves: list[Taken], wholes: list[Taken]) -> list[Row]:
    peak = max(taken.peak_mb for taken in wholes)
    balls, size = wholes[0].balls, wholes[0].size
    ratio, words = ratios([taken.seconds for taken in wholes], [taken.seconds for taken in halves])
    memory, memory_words = ratios([taken.peak_mb for taken in wholes], [taken.peak_mb for taken in halves])
    return [
        Row(what=f"dossier of {balls:,} balls, {size / 1e6:,.0f} MB, streamed", measured=f"{peak:.0f} MB of memory",
            floor=f"half of it {max(taken.peak_mb for taken in halves):.0f} MB", ratio=memory_words,
            target=f"under {MEMORY_MB} MB", reached=peak < MEMORY_MB and memory < 2),
        Row(what="the same, its time", measured=f"{median(taken.seconds for taken in wholes):.1f} s",
            floor=f"half of it {median(taken.seconds for taken in halves):.1f} s", ratio=words,
            target="at most 2.2 (linear)", reached=ratio <= 2.2),
    ]  # fmt: skip


def _checked(checks: list[Taken]) -> Row:
    ratio, words = ratios([taken.seconds for taken in checks], [taken.floor for taken in checks])
    peak = max(taken.peak_mb for taken in checks)
    return Row(
        what=f"its check, every sheet made anew ({peak:.0f} MB of memory)",
        measured=f"{median(taken.seconds for taken in checks):.1f} s",
        floor=f"its bytes hashed, its signatures checked {median(taken.floor for taken in checks):.2f} s",
        ratio=words,
        target="at most 2.5",
        reached=ratio <= 2.5,
    )


def _of_one(single: list[float], reported: list[float]) -> list[Row]:
    return [
        Row(what=what, measured=f"{median(found) * 1000:.0f} ms", target=f"under {most * 1000:.0f} ms",
            reached=median(found) < most)
        for what, found, most in (("dossier of one ball, with its events", single, ONE_BALL_S),
                                  ("the same with its report", reported, WITH_REPORT_S))
    ]  # fmt: skip


def _child(*words: str) -> Taken:
    done = subprocess.run([sys.executable, "-m", "ops.bench.dossier_child", *words], capture_output=True, check=True)
    return msgspec.json.decode(done.stdout, type=Taken)


def _one_ball(field: Field, *, with_report: bool) -> float:
    """The median time of the dossier of one ball and another, the first of which is not counted."""
    store = open_store(field.plant.url)
    with open_reader(store) as reader:
        units = reader.rows(Unit, "lot", "S0")
        giver = DossierGiver(
            note=reader.head().checkpoint or b"",
            signer=SIGNERS.dossier,
            stem=LABEL_STEM,
            reporter=DossierReporter(None),
        )
        parts = (*USUAL_PARTS, "report") if with_report else USUAL_PARTS
        found = [_timed(partial(_write_one, reader, unit, parts, giver)) for unit in units[: ASKS + 1]]
    store.close()
    return median(found[1:])


def _write_one(reader: Reader, unit: Unit, parts: tuple[str, ...], giver: DossierGiver) -> None:
    wanted = msgspec.convert({"serials": [unit.serial], "parts": parts}, DossierWanted)
    write_wanted(reader, io.BytesIO(), wanted, giver)


def _timed(ask: Callable[[], object]) -> float:
    began = time.perf_counter()
    ask()
    return time.perf_counter() - began


def _close_lots(field: Field, count: int) -> None:
    """Close the lots of the balls, as far as they are not: then the check looks for each ball's leaf."""
    store = open_store(field.plant.url)
    with open_reader(store) as reader:
        names = [f"S{number}" for number in range(count // LOT)]
        closings = [_closing(reader, field, name) for name in names if _is_open(reader, name)]
    store.close()
    if closings:
        book = field.open()
        try:
            say(book, field.plant, closings)
        finally:
            book.close()


def _is_open(reader: Reader, name: str) -> bool:
    row = reader.one(Lot, name)
    return row is not None and not row.closed


def _closing(reader: Reader, field: Field, name: str) -> tuple[str, bytes]:
    units = reader.rows(Unit, "lot", name)
    root = balls_root((unit.unit, unit.serial) for unit in units)
    at = format_instant(Instant(field.plant.began_ms + 1_200 * HOUR_MS, 0))
    said = {"kind": "lot-closed", "at": at, "lot": name, "count": len(units), "balls_root": root}
    return f"close-{name}", msgspec.json.encode([said])
