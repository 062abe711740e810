"""What changes when a gauge was wrong: every ball measured with it since the calibration before it was found so.

Each is judged three times: as judged while the gauge was trusted, as the book stands now, and trusted with the bias taken
out.  A ball that was read again since, with another gauge or after rework, rests on that reading and is not among them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.adopted_files import find_rulebook
from ledger.application.halves import Halves
from ledger.application.histories import instant_text
from ledger.application.impact_pass import (
    BallPlace,
    Bias,
    Change,
    ChangeCount,
    Look,
    Where,
    WhereCount,
    ball_place,
    check_listed,
    judged_chunks,
    look,
    selected_in_order,
)
from ledger.application.judging import Grounds
from ledger.application.populations import Population, every_ground
from ledger.application.release_policies import policy_in_force
from ledger.book.decimal_text import scaled
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.impact import (
    Foremost,
    VerdictChange,
    change_keys,
    concerned_by_readings,
    limited_to,
    verdict_changes,
)
from ledger.conformity.outcome import CAUTION, OUTCOMES, Outcome, overall
from ledger.errors import MalformedInput, NotFound
from ledger.line.fact import parse_address
from ledger.line.quantity import SCALE, format_number
from ledger.line.reading_rows import Calibration, Gauge, LotReading
from ledger.line.standing_readings import parse_manner
from ledger.store.columns import ReadingColumns, ReadWith
from ledger.store.reader import Reader
from ledger.store.selections import Selection, every_row
from ledger.store.whereabouts import count_whereabouts, reading_sources

_TRUSTED, _NOW, _SHIFTED = range(3)


class _Words(NamedTuple):
    """What was asked."""

    gauge: str
    rulebook: str
    found: str | None
    bias: str | None
    listed: int


class Turn(msgspec.Struct, frozen=True, kw_only=True):
    """A calibration, check or fault of a gauge, and when it was."""

    fact: str
    kind: str
    at: str


class Window(NamedTuple):
    """The readings asked about: from the calibration ``since`` up to, and without, what found the gauge wrong.

    None: no calibration before; nothing found it wrong, and the question supposes it.
    """

    since: Calibration | None
    found: Calibration | None

    def takes(self, at_ms: int) -> bool:
        """Whether a reading of that instant lies in it."""
        return (self.since is None or at_ms >= self.since.at_ms) and (self.found is None or at_ms < self.found.at_ms)

    @property
    def from_ms(self) -> int | None:
        """Its first millisecond."""
        return None if self.since is None else self.since.at_ms

    @property
    def to_ms(self) -> int | None:
        """Its last millisecond."""
        return None if self.found is None else self.found.at_ms - 1


class GaugeBall(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball measured with the gauge: how the whole ball comes out each time, and the quantities that change.

    ``by_shift`` is from as trusted to as it is with the bias taken out; ``now_changes`` from as trusted to the book now.
    """

    ball: BallPlace
    before: Outcome
    now: Outcome
    now_changes: tuple[VerdictChange, ...]
    shifted: Outcome | UnsetType = UNSET
    by_shift: tuple[VerdictChange, ...] = ()


class ImpactOfGauge(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The answer. ``bias`` is decimal text in the gauge's unit, and ``bias_from`` says who states it.

    ``found`` is what found the gauge wrong, absent where nothing did and the question supposes it.  ``concerned``: the
    quantities that the gauge's readings bear on, which alone were judged.  ``now``: from as trusted to as the book
    stands; ``shifted``: from as trusted to as it is with the bias taken out, and ``shifted_where`` where the balls are
    that this changes; both absent where no bias is known.  ``lots``: lots with readings of their own from that time.
    """

    gauge: str
    quantity: str
    unit: str
    rulebook: str
    title: str
    edition: str
    digest: str
    balls: int
    concerned: tuple[str, ...]
    where: Where
    now: Change
    caution: str
    found: Turn | UnsetType = UNSET
    since: Turn | UnsetType = UNSET
    bias: str = ""
    bias_from: str = ""
    shifted: Change | UnsetType = UNSET
    shifted_where: Where | UnsetType = UNSET
    lots: tuple[str, ...] = ()
    listed: tuple[GaugeBall, ...] = ()
    more: bool = False
    policy: str | UnsetType = UNSET


def impact_of_gauge(
    reader: Reader, gauge: str, rulebook: str, *, found: str | None = None, bias: str | None = None, listed: int = 0
) -> ImpactOfGauge:
    """Judge every ball measured with a gauge while it was wrong.

    ``found``: the fact that found it wrong, by default the newest; ``bias``: decimal text in the gauge's unit, by default
    what that calibration found.  Listed first are the balls that the shift changes.  Raises NotFound for an unknown
    gauge, rulebook or finding, MalformedInput where nothing found the gauge wrong and no bias is given, TooLarge.
    """
    check_listed(listed)
    row = reader.one(Gauge, gauge)
    if row is None:
        raise NotFound(f"gauge {gauge} is not in the book", where="gauge", mend="look at the list of gauges")
    words = _Words(gauge, rulebook, found, bias, listed)
    asking, halves = _Asking(reader, row, words), Halves(reader, Selection(), _count, words)
    counted = asking.count(reader, halves.first)
    second = halves.second()
    if second is not None:
        counted.merge(second)
    file, window, asked, policy = asking.file, asking.window, asking.bias, asking.policy
    return ImpactOfGauge(
        gauge=gauge,
        quantity=row.quantity,
        unit=row.unit,
        rulebook=file.rulebook.id,
        title=file.rulebook.title,
        edition=file.rulebook.edition,
        digest=file.digest,
        balls=counted.balls,
        concerned=asking.concerned,
        where=counted.where.where(reader),
        now=counted.now.change,
        caution=CAUTION,
        found=_turn(window.found),
        since=_turn(window.since),
        bias="" if asked is None else format_number(Fraction(asked.micro, SCALE)),
        bias_from="" if asked is None else _bias_from(window, bias),
        shifted=UNSET if counted.shifted is None else counted.shifted.change,
        shifted_where=UNSET if counted.shifted is None else counted.shifted_where.where(reader),
        lots=_lots(reader, gauge, window),
        listed=_listed(reader, asking.looks, counted.foremost.units),
        more=counted.foremost.seen > listed,
        policy=UNSET if policy is None else policy.address,
    )


class _Counted:
    """What is added up over the balls."""

    def __init__(self, looks: Sequence[Look], listed: int) -> None:
        self.balls = 0
        self.where, self.shifted_where = WhereCount(), WhereCount()
        self.now = ChangeCount(looks[_TRUSTED], looks[_NOW])
        self.shifted = ChangeCount(looks[_TRUSTED], looks[_SHIFTED]) if len(looks) > _SHIFTED else None
        self.foremost = Foremost(listed)

    def take(self, reader: Reader, units: Sequence[str], judged: Sequence[Any]) -> None:
        now = self.now.take(judged[_TRUSTED], judged[_NOW])
        keys = change_keys(judged[_TRUSTED].own, judged[_NOW].own) + _BEHIND
        self.where.take(count_whereabouts(reader, units))
        told = now
        if self.shifted is not None:
            shifted = self.shifted.take(judged[_TRUSTED], judged[_SHIFTED])
            keys[shifted] = change_keys(judged[_TRUSTED].own[shifted], judged[_SHIFTED].own[shifted])
            moved = [units[place] for place in shifted.nonzero()[0].tolist()]
            self.shifted_where.take(count_whereabouts(reader, moved))
            told = now | shifted
        self.foremost.take(keys[told], units, told.nonzero()[0])
        self.balls += len(units)

    def merge(self, later: _Counted) -> None:
        self.balls += later.balls
        self.where.merge(later.where)
        self.shifted_where.merge(later.shifted_where)
        self.now.merge(later.now)
        if self.shifted is not None and later.shifted is not None:
            self.shifted.merge(later.shifted)
        self.foremost.merge(later.foremost)


_BEHIND = len(OUTCOMES) ** 2
"""Added to the key of a ball that the shift does not change: it is listed after those that it does."""


class _Asking:
    """The ways of looking at the balls, and which of them."""

    def __init__(self, reader: Reader, gauge: Gauge, words: _Words) -> None:
        self._gauge, self._listed = gauge, words.listed
        self.file, grounds = find_rulebook(reader, words.rulebook), every_ground(reader)
        self.window = _window(gauge, grounds.calibrations.get(gauge.gauge, ()), words.found, words.bias)
        self.bias = _bias(gauge, self.window, words.bias)
        self.policy = policy_in_force(reader)
        self.concerned = concerned_by_readings(self.file.rulebook, [gauge.quantity])
        trusted, policy = _trusted(grounds, gauge.gauge, self.window), house_policy(self.policy)
        book = limited_to(self.file.rulebook, self.concerned)
        before = Population(reader, Selection(), book, grounds=trusted)
        self.looks = [look(before, self.file.rulebook, policy)] * 2
        if trusted is not grounds:
            now = Population(reader, Selection(), book, grounds=grounds)
            self.looks[_NOW] = look(now, self.file.rulebook, policy)
        if self.bias is not None:
            self.looks.append(look(before, self.file.rulebook, policy, self.bias))

    def count(self, reader: Reader, selection: Selection) -> _Counted:
        """Everything counted over the balls of a selection."""
        counted, choose = _Counted(self.looks, self._listed), _Choice(reader, self._gauge, self.window)
        read_with = ReadWith(self._gauge.gauge, self.window.from_ms, self.window.to_ms)
        for chunk in judged_chunks(reader, selection, self.looks, read_with=read_with, choose=choose):
            counted.take(reader, chunk.units, chunk.judged)
        return counted


def _count(reader: Reader, selection: Selection, words: _Words) -> _Counted:
    """The same in another process, which has the words of the question alone."""
    return _Asking(reader, reader.rows(Gauge, "gauge", words.gauge)[0], words).count(reader, selection)


class _Choice:
    """Which balls of a chunk have a reading of the gauge that stands and was taken in the window."""

    def __init__(self, reader: Reader, gauge: Gauge, window: Window) -> None:
        self._reader, self._gauge, self._window = reader, gauge, window

    def __call__(self, raw: ReadingColumns) -> Any:
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        wanted = raw.of_manner(map(self._names, raw.manners), np.bool_)
        inside = np.ones(raw.balls, dtype=bool)
        if self._window.from_ms is not None:
            inside &= raw.numbers["first_ms"] >= self._window.from_ms
        if self._window.to_ms is not None:
            inside &= raw.numbers["last_ms"] <= self._window.to_ms
        # A ball's readings lie on both sides of an end: each says for itself when it was.
        doubtful = (wanted & ~inside).nonzero()[0].tolist()
        units = raw.units
        sources = reading_sources(self._reader, [units[place] for place in doubtful])
        for place in doubtful:
            wanted[place] = self._window.takes(sources[units[place]][self._gauge.quantity].at_ms)
        return wanted

    def _names(self, manner: str) -> bool:
        how = parse_manner(manner).get(self._gauge.quantity)
        return how is not None and how.gauge == self._gauge.gauge


def _order(row: Calibration) -> tuple[int, tuple[int, int]]:
    return row.at_ms, parse_address(row.calibration)


def _window(gauge: Gauge, rows: Iterable[Calibration], found: str | None, bias: str | None) -> Window:
    """From the calibration before the finding, which left the gauge in order, whatever it had found."""
    ordered = sorted(rows, key=_order)
    wrong = [row for row in ordered if not row.good and found in {None, row.calibration}]
    if not wrong and found is not None:
        raise NotFound(
            f"fact {found} did not find gauge {gauge.gauge} wrong",
            expected="a calibration, check or fault of the gauge that found it wrong",
            where="found",
            mend="leave it out for the newest, or look at the gauge's history",
        )
    if not wrong and bias is None:
        raise MalformedInput(
            f"nothing in the book found gauge {gauge.gauge} wrong",
            where="bias",
            mend="give the bias that is to be supposed, or enter the calibration that found it wrong",
        )
    last = wrong[-1] if wrong else None
    made = [row for row in ordered if row.kind == "calibration" and (last is None or _order(row) < _order(last))]
    return Window(made[-1] if made else None, last)


def _trusted(grounds: Grounds, gauge: str, window: Window) -> Grounds:
    """The grounds as they were known while the gauge was trusted: nothing after the calibration that it rested on."""
    if window.found is None:
        return grounds
    since = window.since
    rows = [] if since is None else [row for row in grounds.calibrations[gauge] if _order(row) <= _order(since)]
    return grounds._replace(calibrations={**grounds.calibrations, gauge: rows})


def _bias(gauge: Gauge, window: Window, bias: str | None) -> Bias | None:
    micro = scaled(bias, 6) if bias is not None else None if window.found is None else window.found.bias_micro
    return None if micro is None else Bias(gauge.gauge, gauge.quantity, micro, gauge.unit)


def _bias_from(window: Window, bias: str | None) -> str:
    if bias is not None or window.found is None:
        return "the question"
    return f"calibration {window.found.calibration}, as found"


def _turn(row: Calibration | None) -> Turn | UnsetType:
    return UNSET if row is None else Turn(fact=row.calibration, kind=row.kind, at=instant_text(row.at_ms))


def _lots(reader: Reader, gauge: str, window: Window) -> tuple[str, ...]:
    rows: list[LotReading] = every_row(reader.transaction, LotReading, '"gauge" = ?', (gauge,))
    return tuple(sorted({row.lot for row in rows if window.takes(row.at_ms)}))


def _listed(reader: Reader, looks: Sequence[Look], units: list[str]) -> tuple[GaugeBall, ...]:
    sides = [one.verdicts(units) for one in looks]
    balls: list[GaugeBall] = []
    for one, *verdicts in zip(selected_in_order(reader, units), *sides, strict=True):
        trusted = verdicts[_TRUSTED]
        shifted = verdicts[_SHIFTED] if len(verdicts) > _SHIFTED else None
        balls.append(
            GaugeBall(
                ball=ball_place(one),
                before=overall(trusted),
                now=overall(verdicts[_NOW]),
                now_changes=verdict_changes(trusted, verdicts[_NOW]),
                shifted=UNSET if shifted is None else overall(shifted),
                by_shift=() if shifted is None else verdict_changes(trusted, shifted),
            )
        )
    return tuple(balls)
