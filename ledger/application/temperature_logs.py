"""Temperature logs of racks: taking one in, and showing what each says, with its points where its file is stored.

The file is stored as a blob first, then its summary is said; the entry stands without the file.  Readings before the stage
began or after what ended it are left out of the summary, and counted: a logger is switched on early and read out late.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from fractions import Fraction
from typing import Any, Literal, NamedTuple

import msgspec
from msgspec import UNSET

from ledger.application.histories import instant_text
from ledger.application.said_before import said_before
from ledger.book.instant import instant_ms
from ledger.errors import MalformedInput, NotFound, StoreDamaged, UnknownSubject
from ledger.line.cure_temperatures import Span, TemperatureLogged, check_stage, judging_window, stage_began, uncovered
from ledger.line.fact import parse_address
from ledger.line.lot_changes import CURED_STEPS
from ledger.line.process_plan import Stage, Window, plan_needs
from ledger.line.record import Record
from ledger.line.rows import BreachRow, Descent, Lot, LotStep, Unit
from ledger.line.state import State
from ledger.line.temperature_log import Logged, celsius_text, degrees_text, parse_log, thin
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.temperature_summary import Stretch, Summary, cut, summarize
from ledger.store.blobs import put_blob, read_blob
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with

FileStanding = Literal["stored", "stored, and its summary is another", "not stored"]

CSV = "text/csv"
GAP_S = 900
"""The longest time between two readings that is no gap, where neither the plan nor the sender states one."""
POINTS = 400
"""Points of one log that are handed out."""


class LogAsked(NamedTuple):
    """A log that was sent: of which stage of which lot. ``gap_s``: what the sender calls a gap, if he says it."""

    lot: str
    stage: Stage
    raw: bytes
    gap_s: int | None = None


class LogPoint(msgspec.Struct, frozen=True):
    """One reading, in degrees Celsius."""

    at: str
    celsius: str


class LogSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One log as it was entered. ``file`` says whether it is stored, and, if so, whether it gives this summary.

    ``points`` are at most 400 of its readings of the stage, with the coldest and the warmest of each part of the time.
    """

    fact: str
    stage: str
    said_at: str
    digest: str
    length: int
    says: str
    summary: Summary
    file: FileStanding
    points: tuple[LogPoint, ...] = ()
    breaches: tuple[str, ...] = ()


class TemperatureLogs(msgspec.Struct, frozen=True, kw_only=True):
    """Every standing log of a lot, in order of entry."""

    lot: str
    logs: tuple[LogSeen, ...]


def log_record(store: Store, asked: LogAsked, *, key: str, author: str, now_ms: int) -> TemperatureLogged:
    """The record of a log that was sent, once its file is stored; the one that stands under the key already, if one does.

    Raises MalformedInput naming the line, UnknownSubject, Contradiction, KeyReused for a key of another log.
    """
    wanted = (asked.lot, asked.stage, hashlib.sha256(asked.raw).hexdigest())

    def is_wanted(records: tuple[Record, ...]) -> bool:
        return [(one.lot, one.stage, one.digest) for one in records if isinstance(one, TemperatureLogged)] == [wanted]

    with open_reader(store) as reader:
        before = said_before(reader, author, key, is_wanted)
    for record in before or ():
        if isinstance(record, TemperatureLogged):
            return record
    return _fresh_record(store, asked, now_ms)


def _fresh_record(store: Store, asked: LogAsked, now_ms: int) -> TemperatureLogged:
    readings = parse_log(asked.raw)
    with open_reader(store) as reader:
        lot = reader.one(Lot, asked.lot)
        if lot is None:
            raise UnknownSubject(
                f"lot {asked.lot} is not in the book", where="lot", mend="check the id on the traveller"
            )
        check_stage(lot, asked.stage)
        stretch = Stretch(stage_began(lot, asked.stage), _ended(reader, lot, asked.stage))
        taken = cut(readings, stretch)
        window = None if not taken else _window(reader, lot, asked.stage, taken[-1].at_ms)
    summary = summarize(
        readings,
        _gap_limit(asked.gap_s, window),
        stretch=stretch,
        low_c=window.low_c if window is not None and window.low_c is not UNSET else None,
        high_c=window.high_c if window is not None and window.high_c is not UNSET else None,
    )
    kept = put_blob(store, asked.raw, CSV)
    return TemperatureLogged(
        # A logger's clock that is ahead shows as a doubtful fact, as any other clock's does.
        at=instant_text(max(now_ms, taken[-1].at_ms)),
        lot=asked.lot,
        stage=asked.stage,
        digest=kept.digest,
        length=kept.length,
        summary=summary,
        from_at=UNSET if stretch.from_ms is None else instant_text(stretch.from_ms),
        to_at=UNSET if stretch.to_ms is None else instant_text(stretch.to_ms),
    )


def _gap_limit(said: int | None, window: Window | None) -> int:
    if said is not None:
        return said
    return window.gap_s if window is not None and window.gap_s is not UNSET else GAP_S


def _window(reader: Reader, lot: Lot, stage: Stage, last_ms: int) -> Window | None:
    state = State()
    for need in plan_needs(lot.model):
        state.load(need, reader.rows(need.row, need.column, need.value))
    return judging_window(state, lot, stage, last_ms)


def _ended(reader: Reader, lot: Lot, stage: Stage) -> int | None:
    """When a stage of a lot ended, as far as the book knows: its demoulding, or the step that the rest came before."""
    if stage.endswith("-demould"):
        return lot.ended_ms
    if stage == "final-cure":
        steps = [step.began_ms for step in reader.rows(LotStep, "lot", lot.lot) if step.step in CURED_STEPS]
        began = steps + [unit.began_ms for unit in reader.rows(Unit, "lot", lot.lot)]
        return min((ms for ms in began if ms >= lot.ended_ms), default=None)
    # Pieces rest until the last of them is poured round.
    children = [edge.child for edge in reader.rows(Descent, "parent", lot.lot) if edge.part == lot.stage]
    return max((child.began_ms for child in rows_with(reader, Lot, "lot", children)), default=None)


def temperature_logs(store: Store, lot: str, stage: str | None = None) -> TemperatureLogs:
    """The standing logs of a lot, of one stage or of all. Raises NotFound."""
    with open_reader(store) as reader:
        if reader.one(Lot, lot) is None:
            raise NotFound(f"lot {lot} is not in the book", where="lot", mend="check the id on the traveller")
        rows = [row for row in _in_order(reader.rows(TemperatureLog, "lot", lot)) if stage in (None, row.stage)]
        said: dict[str, list[str]] = {}
        for breach in rows_with(reader, BreachRow, "address", [row.log for row in rows]):
            said.setdefault(breach.address, []).append(f"{breach.code}: {breach.said}")
        facts = [(row, fact.record) for row in rows if (fact := reader.fact(row.log)) is not None]
    return TemperatureLogs(
        lot=lot,
        logs=tuple(
            _seen(store, row, record, tuple(said.get(row.log, ())))
            for row, record in facts
            if isinstance(record, TemperatureLogged)
        ),
    )


def _seen(store: Store, row: TemperatureLog, record: TemperatureLogged, breaches: tuple[str, ...]) -> LogSeen:
    file, readings = _file(store, record)
    return LogSeen(
        fact=row.log,
        stage=record.stage,
        said_at=record.at,
        digest=record.digest,
        length=record.length,
        says=log_words([row]),
        summary=record.summary,
        file=file,
        points=tuple(LogPoint(instant_text(one.at_ms), celsius_text(one.ninths)) for one in thin(readings, POINTS)),
        breaches=breaches,
    )


def _file(store: Store, record: TemperatureLogged) -> tuple[FileStanding, Sequence[Logged]]:
    """Whether the file is stored and gives the summary that was said, and its readings of the stage."""
    said = record.summary
    ends = [None if text is UNSET else instant_ms(text) for text in (record.from_at, record.to_at)]
    stretch = Stretch(*ends)
    try:
        readings = parse_log(read_blob(store, record.digest).bytes)
        again = summarize(
            readings,
            said.gap_limit_s,
            stretch=stretch,
            low_c=None if said.low_c is UNSET else said.low_c,
            high_c=None if said.high_c is UNSET else said.high_c,
        )
    except (NotFound, StoreDamaged):
        return "not stored", ()
    except MalformedInput:
        # Whoever says a summary without sending the log may name any digest.
        return "stored, and its summary is another", ()
    same = _in_ms(again) == _in_ms(said)
    return ("stored" if same else "stored, and its summary is another"), cut(readings, stretch)


def _in_ms(summary: Summary) -> Any:
    """A summary with its instants as milliseconds: two that differ in an offset say the same."""
    told = msgspec.to_builtins(summary)
    ends = {name: instant_ms(told.pop(name)) for name in ("first_at", "last_at")}
    return told | ends | {"gaps": [[instant_ms(text) for text in gap.values()] for gap in told.get("gaps", ())]}


def log_words(logs: Sequence[TemperatureLog], span: Span | None = None) -> str:
    """What logs of one stage say together: "22.9 to 24.1 deg C, 2 gaps", or "no log".

    With ``span``, the time that the stage lasted, it says where they leave out more of it than they call a gap.
    """
    if not logs:
        return "no log"
    coldest, warmest = (
        _degrees(value) for value in (min(one.coldest for one in logs), max(one.warmest for one in logs))
    )
    gaps = sum(one.gaps for one in logs)
    words = f"{coldest} to {warmest} deg C, {gaps or 'no'} {'gap' if gaps == 1 else 'gaps'}"
    limit_ms = max(one.gap_limit_s for one in logs) * 1000
    left = [] if span is None else uncovered(span, [Span(one.first_ms, one.last_ms) for one in logs])
    return f"{words}, not the whole time" if any(one.to_ms - one.from_ms > limit_ms for one in left) else words


def _degrees(millionths: int) -> str:
    return degrees_text(Fraction(millionths, 1_000_000))


def _in_order(rows: Sequence[TemperatureLog]) -> list[TemperatureLog]:
    return sorted(rows, key=lambda row: parse_address(row.log))
