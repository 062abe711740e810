"""Dossiers: one of many balls streamed and checked, in processes of their own; one of a single ball, with its report and without.

Times of the large one are compared in seconds of the processor, which another program on the machine lengthens little.
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
from typing import NamedTuple

import msgspec

from ledger.application.dossier_report import DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.dossiers import USUAL_PARTS
from ledger.book.instant import Instant, format_instant
from ledger.errors import Unsupported
from ledger.line.lot_changes import balls_root
from ledger.line.rows import Lot, Unit
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ops.bench.dossier_child import Taken
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.plant import HOUR_MS, LABEL_STEM, LOT, SIGNERS, ready_end, say

MEMORY_MB = 300
ONE_BALL_S, WITH_REPORT_S = 0.3, 1.5
ASKS = 20
"""Dossiers of one ball a round."""

PART = 10
"""The time of the large dossier is held against that of one of so many times fewer balls."""

PROCESSES = 2
"""At the same check, beside one alone."""

_HOW = {
    "prove": "its digests, proofs and signatures (--proofs-only)",
    "check": "its whole check: these, and every sheet and event made anew",
}
"""How `dossier_child` checks it, and the words of its row."""

TELL_S = 30.0
"""Seconds after which a running part says where it is."""


class Asked(NamedTuple):
    """What a dossier of one ball took: seconds on the wall and of the processor."""

    seconds: float
    processor: float


def measure_dossiers(field: Field) -> list[Row]:
    """The small ones ``rounds`` times, the large one ``dossier_rounds`` times; the rows of the table."""
    count = min(field.sizes.dossier, field.balls)
    _close_lots(field, count)
    rows = _of_single(field)
    file = field.product / "dossier.zip"
    parts, wholes = list[Taken](), list[Taken]()
    checks: dict[tuple[str, int], list[Taken]] = {(how, count): [] for how in _HOW for count in (1, PROCESSES)}
    try:
        for _ in range(field.sizes.dossier_rounds):
            parts.append(_child("write", field.plant.url, str(file), str(max(1, count // PART))))
            wholes.append(_child("write", field.plant.url, str(file), str(count)))
            for (how, processes), found in checks.items():
                found.append(_child(how, str(file), str(processes)))
    finally:
        file.unlink(missing_ok=True)
    return [*_streamed(parts, wholes), *_checked(checks), *rows]


def _of_single(field: Field) -> list[Row]:
    rounds = range(field.sizes.rounds)
    rows = [
        _of_one("dossier of one ball, with its events", [_one_ball(field, USUAL_PARTS) for _ in rounds], ONE_BALL_S)
    ]
    what = "the same with its report"
    try:
        rows.append(_of_one(what, [_one_ball(field, (*USUAL_PARTS, "report")) for _ in rounds], WITH_REPORT_S))
    except Unsupported as error:
        rows.append(Row(what=what, measured=f"not measured: {error}"))
    return rows


def _streamed(parts: list[Taken], wholes: list[Taken]) -> list[Row]:
    peak = max(taken.peak_mb for taken in wholes)
    balls, size, fewer = wholes[0].balls, wholes[0].size, parts[0].balls
    ratio, words = ratios([taken.processor for taken in wholes], [taken.processor for taken in parts])
    _, memory_words = ratios([taken.peak_mb for taken in wholes], [taken.peak_mb for taken in parts])
    # Starting and what balls share cost a small dossier as much as a large one: linear is at most as many times as balls.
    most = 1.1 * balls / fewer
    return [
        Row(what=f"dossier of {balls:,} balls with lots and events, {size / 1e6:,.0f} MB, streamed",
            measured=f"{peak:.0f} MB of memory",
            floor=f"of {fewer:,} balls {max(taken.peak_mb for taken in parts):.0f} MB", ratio=memory_words,
            target=f"under {MEMORY_MB} MB", reached=peak < MEMORY_MB),
        Row(what="the same, its time", measured=_times(wholes), floor=f"of {fewer:,} balls {_times(parts)}", ratio=words,
            target=f"at most {most:.3g} (linear)", reached=ratio <= most),
    ]  # fmt: skip


def _checked(checks: dict[tuple[str, int], list[Taken]]) -> list[Row]:
    rows = []
    for how, what in _HOW.items():
        alone, several = checks[how, 1], checks[how, PROCESSES]
        ratio, words = ratios([taken.processor for taken in alone], [taken.floor for taken in alone])
        floor = f"its bytes hashed, its signatures checked {median(taken.floor for taken in alone):.2f} s of processor"
        if alone[0].signatures:
            floor += f" ({alone[0].signatures:,} by a station)"
        rows.append(
            Row(what=what, measured=_times(alone), floor=floor, ratio=words, target="at most 2.5", reached=ratio <= 2.5)
        )
        ratio, words = ratios([taken.seconds for taken in several], [taken.floor for taken in several])
        rows.append(
            Row(what=f"the same by {PROCESSES} processes, as the command does on as many cores, on the wall",
                measured=_times(several), floor="the same, by one", ratio=words, target="at most 2.5",
                reached=ratio <= 2.5)
        )  # fmt: skip
        peak = max(taken.peak_mb for taken in alone)
        together = max(taken.peak_mb for taken in several)
        rows.append(
            Row(what="the same, its memory", measured=f"{peak:.0f} MB of memory",
                floor=f"by {PROCESSES} together {together:.0f} MB, what they share counted twice",
                target=f"under {MEMORY_MB} MB", reached=peak < MEMORY_MB)
        )  # fmt: skip
    return rows


def _times(taken: list[Taken]) -> str:
    wall, processor = median(one.seconds for one in taken), median(one.processor for one in taken)
    return f"{wall:.1f} s ({processor:.1f} s of processor)"


def _of_one(what: str, found: list[Asked], most: float) -> Row:
    wall, processor = median(one.seconds for one in found), median(one.processor for one in found)
    measured = f"{wall * 1000:.0f} ms ({processor * 1000:.0f} ms of processor)"
    print(f"  {what}: {measured}", file=sys.stderr, flush=True)
    return Row(what=what, measured=measured, target=f"under {most * 1000:.0f} ms", reached=wall < most)


def _child(*words: str) -> Taken:
    """What a process of its own took; says every few seconds that it still runs. Raises CalledProcessError."""
    command = [sys.executable, "-m", "ops.bench.dossier_child", *words]
    began = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        while True:
            try:
                printed, _ = process.communicate(timeout=TELL_S)
                break
            except subprocess.TimeoutExpired:
                running = f"  {words[0]} {words[-1]}: {time.perf_counter() - began:.0f} s"
                print(running, file=sys.stderr, flush=True)
            except BaseException:
                process.kill()
                raise
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    taken = msgspec.json.decode(printed, type=Taken)
    # A run of many balls is long: what it found so far is told at once.
    print(f"  {words[0]}: {taken}", file=sys.stderr, flush=True)
    return taken


def _one_ball(field: Field, parts: tuple[str, ...]) -> Asked:
    """The median of what the dossiers of one ball and another take, the first of which is not counted."""
    store = open_store(field.plant.url)
    with open_reader(store) as reader:
        units = reader.rows(Unit, "lot", "S0")
        giver = DossierGiver(
            note=reader.head().checkpoint or b"",
            signer=SIGNERS.dossier,
            stem=LABEL_STEM,
            reporter=DossierReporter(None),
        )
        found = [_timed(partial(_write_one, reader, unit, parts, giver)) for unit in units[: ASKS + 1]][1:]
    store.close()
    return Asked(median(one.seconds for one in found), median(one.processor for one in found))


def _write_one(reader: Reader, unit: Unit, parts: tuple[str, ...], giver: DossierGiver) -> None:
    wanted = msgspec.convert({"serials": [unit.serial], "parts": parts}, DossierWanted)
    write_wanted(reader, io.BytesIO(), wanted, giver)


def _timed(ask: Callable[[], object]) -> Asked:
    began, spent = time.perf_counter(), time.process_time()
    ask()
    return Asked(time.perf_counter() - began, time.process_time() - spent)


def _close_lots(field: Field, count: int) -> None:
    """Close the lots of the balls, as far as they are not: then the check looks for each ball's leaf."""
    store = open_store(field.plant.url)
    with open_reader(store) as reader:
        names = [f"S{number}" for number in range(ready_end(count) // LOT)]
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
