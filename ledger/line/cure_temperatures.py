"""The record of a temperature log, and whether the stage that it was taken in kept the plan's temperatures.

The entry holds the summary and the digest of the file.  The file itself is a blob beside the book: whoever has it can
make the summary again (`ledger.line.temperature_summary`), and the entry stands without it.

The plan that judges is the one in force when the stage ended as far as the log tells: at the last reading, or when the
pour began where the stage is a demoulding.  A log that leaves part of the stage out is said to; that alone holds nothing,
since another log may have the rest.  A stage without any log is no breach: cure times show that there is none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Annotated, NamedTuple

from msgspec import UNSET, Meta, UnsetType

from ledger.book.decimal_text import scaled
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import Contradiction, MalformedDecimal, MalformedRecord
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.process_plan import Stage, Window, plan_at, plan_needs, span_words, window_of
from ledger.line.record import At, Digest, Id, Record
from ledger.line.rows import Lot
from ledger.line.state import Need, State
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.temperature_summary import GAPS_LISTED, Summary

STAGE_OF_LOT = {
    "block-demould": "block",
    "block-rest": "block",
    "core-demould": "core",
    "core-rest": "core",
    "shell-demould": "shell",
    "final-cure": "shell",
}
"""The stage of the lot that each window is about."""

BREACH = "cure-temperature"
PARTIAL = "cure-temperature-partial"


class TemperatureLogged(Record, frozen=True, kw_only=True, tag="temperature-logged"):
    """What the temperature log of a rack says of one stage of its lot; ``at`` is when it was read out.

    ``digest`` and ``length`` are of the file as it was sent.  Readings before ``from_at`` or after ``to_at`` are not of the
    stage and were left out of the summary.
    """

    lot: Id
    stage: Stage
    digest: Digest
    length: Annotated[int, Meta(ge=1, le=9_007_199_254_740_991)]
    summary: Summary
    from_at: At | UnsetType = UNSET
    to_at: At | UnsetType = UNSET


class Span(NamedTuple):
    """A stage of a lot as the plan wants it: from its beginning to the earliest moment at which it may end."""

    from_ms: int
    to_ms: int


def stage_began(lot: Lot, stage: Stage) -> int:
    """When a stage of a lot began (POSIX ms): a demoulding with the pour, anything else with the demoulding."""
    return lot.began_ms if stage.endswith("-demould") else lot.ended_ms


def check_stage(lot: Lot, stage: Stage, where: str = "stage") -> None:
    """Check that a lot has that stage. Raises Contradiction."""
    if STAGE_OF_LOT[stage] != lot.stage:
        raise Contradiction(
            f"lot {lot.lot} has no {stage}",
            expected=" or ".join(name for name, of in STAGE_OF_LOT.items() if of == lot.stage) or "a moulded lot",
            got=stage,
            where=where,
            mend="name the stage of this lot, or the lot that the rack held",
        )


def judging_window(state: State, lot: Lot, stage: Stage, last_ms: int) -> Window | None:
    """The window that judges a log whose last reading is at ``last_ms``; None where no plan sets one."""
    judged_at = lot.began_ms if stage.endswith("-demould") else last_ms
    return window_of(plan_at(state, lot.model, judged_at), stage)


def _needs(record: TemperatureLogged, state: State) -> Iterator[Need]:
    need = Need(Lot, "lot", record.lot)
    yield need
    yield Need(TemperatureLog, "lot", record.lot)
    lot = state.one(Lot, record.lot) if state.has(need) else None
    if lot is not None:
        yield from plan_needs(lot.model)


def _check(record: TemperatureLogged, state: State, setting: Setting) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot", stages=("block", "core", "shell"))
    check_stage(lot, record.stage)
    _check_summary(record)
    return [*temperature_breaches(record, state, lot), *_partial(record, state, lot, setting.address)]


def _check_summary(record: TemperatureLogged) -> None:
    """Check that the summary can be that of a log."""
    said = record.summary
    first, last = instant_ms(said.first_at), instant_ms(said.last_at)
    for early, late, where in (
        (record.from_at, said.first_at, "summary.first_at"),
        (said.first_at, said.last_at, "summary.last_at"),
        (said.last_at, record.to_at, "to_at"),
        (said.last_at, record.at, "at"),
    ):
        if early is not UNSET and late is not UNSET and instant_ms(late) < instant_ms(early):
            raise _unlike("instants of the log are out of order", where, f"at or after {early}", late)
    coldest, warmest = (_millionths(text, f"summary.{end}_c") for text, end in
                        ((said.coldest_c, "coldest"), (said.warmest_c, "warmest")))  # fmt: skip
    mean = coldest if said.mean_c is UNSET else _millionths(said.mean_c, "summary.mean_c")
    if not coldest <= mean <= warmest:
        raise _unlike("mean is not between coldest and warmest", "summary.mean_c", "coldest <= mean <= warmest", mean)
    for limit, beyond, name in ((said.low_c, said.below_ms, "below_ms"), (said.high_c, said.above_ms, "above_ms")):
        if (limit is UNSET) != (beyond is UNSET):
            raise _unlike("limit and time beyond it go together", f"summary.{name}", "both or neither", "one")
        if limit is not UNSET:
            _millionths(limit, f"summary.{name}")
    if len(said.gaps) != min(said.gap_count, GAPS_LISTED):
        raise _unlike("gaps are not all listed", "summary.gaps", min(said.gap_count, GAPS_LISTED), len(said.gaps))
    if (said.longest_ms > said.gap_limit_s * 1000) != (said.gap_count > 0):
        raise _unlike("gaps and the longest time without a reading differ", "summary.gap_count", None, said.gap_count)
    if max(said.covered_ms, said.longest_ms) > last - first:
        raise _unlike("log covers more than its own time", "summary.covered_ms", last - first, said.covered_ms)


def _unlike(problem: str, where: str, expected: object, got: object) -> MalformedRecord:
    return MalformedRecord(
        problem, expected=expected, got=got, where=where, mend="send the log itself, and its summary is made here"
    )


def _millionths(text: str, where: str) -> int:
    try:
        return scaled(text, 6)
    except MalformedDecimal as error:
        raise _unlike("temperature is no decimal of at most six places", where, error.expected, text) from error


def temperature_breaches(record: TemperatureLogged, state: State, lot: Lot) -> list[Breach]:
    """What the plan's window asks of the temperature and the log shows otherwise."""
    said = record.summary
    window = judging_window(state, lot, record.stage, instant_ms(said.last_at))
    found: list[str] = []
    if window is None:
        return []
    if window.low_c is not UNSET and scaled(said.coldest_c, 6) < scaled(window.low_c, 6):
        words = f"was down to {said.coldest_c} deg C{_for(said.below_ms, said.low_c, window.low_c)}"
        found.append(f"{words}, the plan asks for at least {window.low_c} deg C")
    if window.high_c is not UNSET and scaled(said.warmest_c, 6) > scaled(window.high_c, 6):
        words = f"was up to {said.warmest_c} deg C{_for(said.above_ms, said.high_c, window.high_c)}"
        found.append(f"{words}, the plan allows at most {window.high_c} deg C")
    if window.gap_s is not UNSET and said.longest_ms > window.gap_s * 1000:
        words = f"has no reading for {span_words(said.longest_ms)}, the plan allows at most"
        found.append(f"{words} {span_words(window.gap_s * 1000)} between two")
    return [
        Breach(
            code=BREACH,
            node=f"lot:{record.lot}",
            said=f"{record.lot}: {record.stage} {words}",
            fact=lot.address,
            mend="dispose of it: release, rework or scrap",
        )
        for words in found
    ]


def _for(beyond: int | UnsetType, limit: str | UnsetType, asked: str) -> str:
    return f" ({span_words(beyond)} beyond)" if beyond is not UNSET and limit == asked else ""


def _partial(record: TemperatureLogged, state: State, lot: Lot, own: str) -> list[Breach]:
    """What no log up to this one covers of a stage whose temperature the plan asks for."""
    said = record.summary
    window = judging_window(state, lot, record.stage, instant_ms(said.last_at))
    if window is None or window.low_c is window.high_c is window.gap_s is UNSET:
        return []
    allowed_s = said.gap_limit_s if window.gap_s is UNSET else window.gap_s
    began = stage_began(lot, record.stage)
    ended = lot.ended_ms if record.stage.endswith("-demould") else began + window.min_s * 1000
    covered = [Span(instant_ms(said.first_at), instant_ms(said.last_at))]
    covered += [
        Span(log.first_ms, log.last_ms)
        for log in state.where(TemperatureLog, "lot", record.lot)
        if log.stage == record.stage and log.log != own
    ]
    missing = [one for one in uncovered(Span(began, ended), covered) if one.to_ms - one.from_ms > allowed_s * 1000]
    if not missing:
        return []
    parts = "; ".join(f"{_text(one.from_ms)} to {_text(one.to_ms)}" for one in missing[:5])
    words = f"{record.lot}: of the {record.stage} no log covers {parts}"
    return [Breach(code=PARTIAL, node=f"lot:{record.lot}", said=words, holds=False, mend="send the log of the rest")]


def uncovered(span: Span, covered: Sequence[Span]) -> list[Span]:
    """The parts of a span that lie in none of the others, in order."""
    found: list[Span] = []
    at_ms = span.from_ms
    for one in sorted(covered):
        if one.from_ms > at_ms:
            found.append(Span(at_ms, min(one.from_ms, span.to_ms)))
        at_ms = max(at_ms, one.to_ms)
        if at_ms >= span.to_ms:
            break
    if at_ms < span.to_ms:
        found.append(Span(at_ms, span.to_ms))
    return [one for one in found if one.from_ms < one.to_ms]


def _text(ms: int) -> str:
    return format_instant(Instant(ms, 0))


def _effects(fact: Fact, state: State) -> None:
    record: TemperatureLogged = fact.record  # type: ignore[assignment]  # the kind table pairs them
    said = record.summary
    state.put(
        TemperatureLog(
            log=fact.address,
            lot=record.lot,
            stage=record.stage,
            digest=record.digest,
            length=record.length,
            first_ms=instant_ms(said.first_at),
            last_ms=instant_ms(said.last_at),
            readings=said.readings,
            coldest=scaled(said.coldest_c, 6),
            warmest=scaled(said.warmest_c, 6),
            mean=None if said.mean_c is UNSET else scaled(said.mean_c, 6),
            gap_limit_s=said.gap_limit_s,
            gaps=said.gap_count,
            longest_ms=said.longest_ms,
        )
    )


def _about(record: TemperatureLogged) -> Iterable[str]:
    return [f"lot:{record.lot}"]


def _recheck(fact: Fact, state: State) -> list[Breach]:
    record: TemperatureLogged = fact.record  # type: ignore[assignment]  # the kind table pairs them
    lot = state.one(Lot, record.lot)
    return [] if lot is None else temperature_breaches(record, state, lot)


KINDS = (Kind(TemperatureLogged, "report", _needs, _check, _effects, _about, _recheck),)
