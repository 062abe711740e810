"""The bytes of a ball's sheet, made quickly where many balls are like each other.

What is given is `format_page` of `ball_sheet`, to the byte. Most of a sheet follows from few things of which there are few:
how a quantity was read and with what value, the model, the dates. So each line is made once, by the same functions, with
a mark in the place of the fact that it names, and put together again for every ball. Which readings a verdict looks at is
not told here: it is recorded while it is made, and the verdict is used again for balls that agree in exactly those.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from operator import attrgetter
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, Raw

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.from_rows import JudgedRows, approved_on, finish_of, made_on, readings_from_row, stated_kinds
from ledger.conformity.house import HousePolicy
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.outcome import OUTCOMES, Verdict
from ledger.conformity.verdict import judge_within, limited_by
from ledger.evidence.ball_sheet import BallRows, DatedRulebook, lot_lines, outline, reading_line, verdict_line
from ledger.evidence.dossier_format import BallSheet, Page, VerdictTable, encode_page
from ledger.evidence.judged import Judged
from ledger.evidence.marked_text import Fill, Parts, filler, marked, split_marked, unmarked
from ledger.line.reading_rows import Measured as MeasuredRow
from ledger.line.standing_readings import parse_manner, parse_sources

_KEPT = 20_000
"""Readings that are kept at most, some 2 kB each with the verdicts on them; then all are let go."""

_KEPT_LOTS = 5_000
"""Ways back through the lots whose lines are kept at most; balls with a place in their lot have one each."""

_RANK: dict[str, int] = {outcome: rank for rank, outcome in enumerate(OUTCOMES)}
_NONE = -1

_Text = msgspec.defstruct(
    "_Text",
    [
        (field.name, Raw if field.name in ("lots", "readings", "tables") else Any, field.default)
        if field.default is not msgspec.NODEFAULT
        else (field.name, Raw if field.name in ("lots", "readings", "tables") else Any)
        for field in msgspec.structs.fields(BallSheet)
    ],
    bases=(Page,),
    kw_only=True,
    frozen=True,
)
"""A sheet whose long parts are JSON already; its fields and their order are those of `BallSheet`."""


class SheetMade(NamedTuple):
    """The bytes of a sheet, and the verdicts by each rulebook; ``facts``: the fact of each reading."""

    raw: bytes
    tables: Sequence[_Table]
    facts: Mapping[str, bytes]

    @property
    def overalls(self) -> list[str]:
        """The worst outcome by each rulebook."""
        return [table.overall for table in self.tables]

    @property
    def judged(self) -> list[Judged]:
        """The verdicts that rest on a reading."""
        facts = {quantity: fact.decode() for quantity, fact in self.facts.items()}
        return [
            (table.rulebook, OUTCOMES[line.outcome], facts[line.rests_on])
            for table in self.tables
            for line in table.lines
            if line.rests_on
        ]


class SheetText:
    """Makes sheets of balls that are judged by these rulebooks."""

    def __init__(self, rulebooks: Sequence[DatedRulebook]) -> None:
        """Nothing is made yet."""
        self._judges = [_Judge(dated) for dated in rulebooks]
        self._readings = _Readings()
        self._lots: dict[int, tuple[object, Raw]] = {}

    def sheet(self, rows: BallRows) -> SheetMade:
        """The sheet of a ball. Raises what `ball_sheet` raises."""
        if self._readings.count > _KEPT:
            self._readings = _Readings(self._readings.last)
            self._judges = [_Judge(judge.dated) for judge in self._judges]
        judged = rows.judged()
        read, facts = self._readings.of(rows)
        fill = filler(facts)
        tables = [judge.table(rows, judged, read, fill) for judge in self._judges]
        text = _Text(
            **outline(rows),
            lots=self._lot_lines(rows),
            readings=Raw(b"[" + b",".join([fill(one.line) for one in read.values()]) + b"]"),
            tables=Raw(b"[" + b",".join([table.text for table in tables]) + b"]"),
        )
        return SheetMade(encode_page(text) + b"\n", tables, facts)

    def _lot_lines(self, rows: BallRows) -> Raw:
        # Balls of one lot share their trace; it is kept, so that no other takes its place in memory.
        known = self._lots.get(id(rows.trace))
        if known is None:
            if len(self._lots) >= _KEPT_LOTS:
                self._lots.clear()
            known = self._lots[id(rows.trace)] = (rows.trace, Raw(encode_page(lot_lines(rows))))
        return known[1]


class _Read(NamedTuple):
    """A quantity as it was read, with its value: the reading and its line, both with a mark for the fact."""

    number: int
    measured: Measured
    line: Parts


class _Asked(NamedTuple):
    """What is asked of a row of readings: quantities in their order, with a number for how and by which gauge."""

    quantities: tuple[str, ...]
    how: tuple[tuple[str, int, str], ...]
    values: Callable[[MeasuredRow], tuple[Any, ...]]
    expanded: Callable[[MeasuredRow], tuple[Any, ...]]


class _Clock(NamedTuple):
    """What a reading of a gauge depends on, and the instants at which that changes: calibrations, and their ends."""

    ground: tuple[Any, Any, Any]
    number: int
    starts: list[int]
    ends: list[int]


class _Readings:
    """The readings of balls, each sort made once."""

    def __init__(self, last: int = 0) -> None:
        self.last = last
        self._asked: dict[str, _Asked] = {}
        self._clocks: dict[str, _Clock] = {}
        self._known: dict[tuple[Any, ...], _Read] = {}

    @property
    def count(self) -> int:
        """How many are kept."""
        return len(self._known)

    def of(self, rows: BallRows) -> tuple[dict[str, _Read], dict[str, bytes]]:
        """The readings that stand of a ball by quantity, and the facts of each."""
        row = rows.measured
        if row is None:
            return {}, {}
        asked = self._asked.get(row.manner) or self._ask(row.manner)
        sources = parse_sources(row.sources, asked.quantities)
        read: dict[str, _Read] = {}
        facts: dict[str, bytes] = {}
        for (quantity, how, gauge), value, expanded in zip(
            asked.how, asked.values(row), asked.expanded(row), strict=True
        ):
            at_ms, fact, milli_c = sources[quantity]
            clock = self._clock(rows, gauge)
            place = bisect_right(clock.starts, at_ms), bisect_left(clock.ends, at_ms)
            key = (how, value, expanded, milli_c, clock.number, place)
            read[quantity] = self._known.get(key) or self._make(rows, quantity, key, at_ms)
            facts[quantity] = fact.encode()
        return read, facts

    def _number(self) -> int:
        self.last += 1
        return self.last

    def _ask(self, manner: str) -> _Asked:
        quantities = tuple(sorted(parse_manner(manner)))
        how = tuple((name, self._number(), parse_manner(manner)[name].gauge) for name in quantities)
        asked = _Asked(quantities, how, _getter(quantities), _getter([f"{name}_u" for name in quantities]))
        self._asked[manner] = asked
        return asked

    def _clock(self, rows: BallRows, gauge: str) -> _Clock:
        ground = (rows.calibrations.get(gauge), rows.gauges.get(gauge), rows.studies.get(gauge))
        known = self._clocks.get(gauge)
        held = None if known is None else known.ground
        if (
            known is None
            or held is None
            or held[0] is not ground[0]
            or held[1] is not ground[1]
            or held[2] is not ground[2]
        ):
            made = ground[0] or ()
            starts, ends = sorted({row.at_ms for row in made}), sorted({row.due_ms for row in made})
            known = self._clocks[gauge] = _Clock(ground, self._number(), starts, ends)
        return known

    def _make(self, rows: BallRows, quantity: str, key: tuple[Any, ...], at_ms: int) -> _Read:
        found = readings_from_row(rows.measured, rows.calibrations, rows.gauges, rows.studies, only=(quantity,))
        measured = msgspec.structs.replace(found[quantity], fact=marked(quantity))
        line = split_marked(encode_page(reading_line(rows, quantity, measured, at_ms)))
        read = self._known[key] = _Read(self._number(), measured, line)
        return read


class _Recorded(Mapping[str, Measured]):
    """The readings of a ball, and in which order they are looked at."""

    def __init__(self, read: Mapping[str, _Read]) -> None:
        self._read = read
        self.asked: list[str] = []

    def __getitem__(self, quantity: str) -> Measured:
        if quantity not in self.asked:
            self.asked.append(quantity)
        return self._read[quantity].measured

    def __iter__(self) -> Iterator[str]:
        raise TypeError("unreachable: a verdict looks at readings by their names")

    def __len__(self) -> int:
        raise TypeError("unreachable: a verdict looks at readings by their names")


class _Line(NamedTuple):
    """The line of a verdict, and the places of its outcomes among `OUTCOMES`; ``house`` is -1 where there is none.

    ``rests_on``: the quantity on whose reading it rests, empty for none.
    """

    line: Parts
    outcome: int
    house: int
    rests_on: str


class _Table(NamedTuple):
    """The JSON of a table, its worst outcome, its rulebook and the lines in it."""

    text: bytes
    overall: str
    rulebook: str
    lines: Sequence[_Line]


class _Ask(NamedTuple):
    """A step on the way to a verdict: which reading is looked at, and what follows from each, by its number."""

    quantity: str
    then: dict[int, Any]


class _Base(NamedTuple):
    """Balls that differ in their readings alone; ``ways`` leads to the verdict by each requirement.

    ``runs``: the places of these, and lines that follow one another and look at no reading as one line; none if not known.
    ``held`` keeps what the base is known by from being another thing at the same place in memory.
    """

    facts: BallFacts
    policy: HousePolicy | None
    ways: list[_Ask | _Line | None]
    heads: dict[tuple[int, int], tuple[bytes, str]]
    runs: list[int | _Line]
    held: tuple[object, ...]


class _Judge:
    """Verdicts by one rulebook."""

    def __init__(self, dated: DatedRulebook) -> None:
        self.dated = dated
        self._limited = limited_by(dated.rulebook)
        self._bases: dict[tuple[Any, ...], _Base] = {}

    def table(self, rows: BallRows, judged: JudgedRows, read: Mapping[str, _Read], fill: Fill) -> _Table:
        """A ball's table."""
        base = self._base(rows, judged)
        texts: list[bytes] = []
        lines: list[_Line] = []
        worst = theirs = len(OUTCOMES)
        # A copy, since a line that is made on the way ends what was known.
        for known in tuple(base.runs) or _runs(base):
            # Where the way leads with these readings; no function of its own, since every line goes through here.
            step: Any = known if type(known) is _Line else base.ways[known]  # type: ignore[index]  # else it is a place
            while type(step) is _Ask:
                one = read.get(step.quantity)
                step = step.then.get(_NONE if one is None else one.number)
            line: _Line = step or self._make(base, known, read)  # type: ignore[arg-type]  # what is known needs no making
            lines.append(line)
            parts = line[0]
            texts.append(fill(parts) if parts[1] else parts[0][0])
            worst = min(worst, line[1])
            if _NONE < line[2] < theirs:
                theirs = line[2]
        head, overall = base.heads.get((worst, theirs)) or self._head(base, worst, theirs)
        return _Table(head + b",".join(texts) + b"]}", overall, self.dated.digest, lines)

    def _base(self, rows: BallRows, judged: JudgedRows) -> _Base:
        made, finish = made_on(judged, self.dated.rulebook), finish_of(judged)
        weight_class = rows.unit.weight_class or judged.lot.weight_class
        key = (id(rows.model), id(rows.approvals), id(rows.policy), made, finish, weight_class)
        base = self._bases.get(key)
        if base is None:
            facts = BallFacts(
                core="asymmetric" if rows.model.core == "asymmetric" else "symmetric",
                weight_class=weight_class,
                made_on=made,
                approved_on=approved_on(rows.approvals, made),
                finish=finish,
                kinds=stated_kinds(rows.model.kinds),
            )
            ways: list[_Ask | _Line | None] = [None] * len(self.dated.rulebook.requirements)
            held = (rows.model, rows.approvals, rows.policy)
            base = self._bases[key] = _Base(facts, house_policy(rows.policy), ways, {}, [], held)
        return base

    def _make(self, base: _Base, place: int, read: Mapping[str, _Read]) -> _Line:
        recorded = _Recorded(read)
        facts = msgspec.structs.replace(base.facts, readings=recorded)
        rulebook = self.dated.rulebook
        requirement = rulebook.requirements[place]
        verdict = judge_within(rulebook, requirement, facts, limited=self._limited, policy=base.policy)
        line = _line_of(verdict)
        if base.ways[place] is None:
            base.runs.clear()
        base.ways[place] = _with_way(base.ways[place], recorded.asked, read, line)
        return line

    def _head(self, base: _Base, worst: int, theirs: int) -> tuple[bytes, str]:
        """The JSON of a table up to its verdicts, and the worst outcome."""
        facts, none = base.facts, len(OUTCOMES)
        overall = "not_applicable" if worst == none else OUTCOMES[worst]
        table = VerdictTable(
            rulebook=self.dated.digest,
            id=self.dated.rulebook.id,
            made_on=UNSET if facts.made_on is None else facts.made_on.isoformat(),
            approved_on=UNSET if facts.approved_on is None else facts.approved_on.isoformat(),
            overall=overall,
            house=UNSET if theirs == none else OUTCOMES[theirs],
            verdicts=(),
        )
        head = base.heads[worst, theirs] = (encode_page(table)[:-2], overall)
        return head


def _runs(base: _Base) -> list[int | _Line]:
    """What `_Base.runs` holds, worked out from the ways as far as they are known; lines that look at nothing are joined."""
    runs: list[int | _Line] = []
    for place, way in enumerate(base.ways):
        last = runs[-1] if runs else place
        if not isinstance(way, _Line):
            runs.append(place)
        elif isinstance(last, int):
            runs.append(way)
        else:
            texts = (last.line.pieces[0], way.line.pieces[0])
            houses = [one.house for one in (last, way) if one.house != _NONE]
            line = Parts((b",".join(texts),), ())
            runs[-1] = _Line(line, min(last.outcome, way.outcome), min(houses, default=_NONE), "")
    base.runs[:] = runs
    return runs


def _with_way(way: _Ask | _Line | None, asked: Sequence[str], read: Mapping[str, _Read], line: _Line) -> _Ask | _Line:
    """The way with the steps that were just gone. What is asked next follows from what was found before."""
    if not asked:
        return line
    step = way if isinstance(way, _Ask) else _Ask(asked[0], {})
    one = read.get(asked[0])
    number = _NONE if one is None else one.number
    step.then[number] = _with_way(step.then.get(number), asked[1:], read, line)
    return step


def _line_of(verdict: Verdict) -> _Line:
    house = verdict.house
    theirs = _NONE if house is UNSET else _RANK[house.outcome]
    rests_on = unmarked(verdict.fact or "")
    return _Line(split_marked(encode_page(verdict_line(verdict))), _RANK[verdict.outcome], theirs, rests_on)


def _getter(names: Sequence[str]) -> Callable[[MeasuredRow], tuple[Any, ...]]:
    """The values of these columns, always as a tuple."""
    if len(names) == 1:
        one = attrgetter(names[0])
        return lambda row: (one(row),)
    return attrgetter(*names) if names else lambda _row: ()
