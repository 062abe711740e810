"""Acting on approval files where the record is worked out here: samples announced, drawn, replaced; a file frozen, signed.

The records are made from what the book holds when they are asked for; the same key gives the same entry again.  Everything
else about a file is said as it is (POST /submissions): opened, an item answered, handed over, answered by the body, a change
reported, withdrawn, opened again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from ledger.access.roles import check_may_say
from ledger.access.tokens import Account
from ledger.application.approval_stored import by_class, document_now, seed_of, stored_candidates, stored_file
from ledger.application.named_files import NamedFiles
from ledger.application.pourbook import Pourbook
from ledger.application.said_before import said_before
from ledger.book.instant import Instant, format_instant
from ledger.errors import NotFound, RuleStands, UnknownSubject
from ledger.evidence.approval_facts import ApprovalRows
from ledger.line.approval_draw import RULE, Candidate, candidate_counts, candidate_list, draw_samples, next_drawn
from ledger.line.approval_rows import ApprovalAnnouncement
from ledger.line.approval_samples import (
    MOST_CANDIDATES,
    ClassAnnounced,
    ClassDrawn,
    PassedOver,
    Ready,
    SampleReplaced,
    SamplesAnnounced,
    SamplesDrawn,
    announced_classes,
    candidates_in,
)
from ledger.line.approval_signing import ApprovalFileFrozen, ApprovalFileSigned, signing_text
from ledger.line.fact import parse_address
from ledger.line.record import Record
from ledger.line.releases import Grade
from ledger.line.rows import Lot, Unit
from ledger.line.submission import Submission
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with

LINES = "application/x-ndjson"
"""Lists of candidates and frozen documents: JSON, one a line."""

READY: tuple[Ready, ...] = ("engraved", "released")
GRADES: tuple[Grade, ...] = ("first", "prototype")
"""What is drawn unless it is said otherwise: balls as they will be sold, and those of a construction to come."""

MOST_LOTS = 100
"""Lots that one announcement names."""


class Announce(NamedTuple):
    """What to announce: how many balls by class, out of which lots (none: every shell lot of the file), states and grades."""

    balls: Mapping[int, int]
    lots: Sequence[str] = ()
    states: Sequence[Ready] = READY
    grades: Sequence[Grade] = GRADES
    why: str | None = None


class Replace(NamedTuple):
    """A sample that is to be replaced, why, and the balls that are passed over with the reason of each."""

    unit: str
    reason: str
    passed_over: Mapping[str, str] = {}


class LotCandidates(msgspec.Struct, frozen=True, kw_only=True):
    """A shell lot of the file: how many of its balls could be drawn, of how many that were made units."""

    lot: str
    candidates: int
    balls: int


class ClassCandidatesSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The candidates of a class, as an announcement would state them now; one that the file does not apply for too."""

    weight_class: int
    candidates: int
    root: str


class CandidatesAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What could be drawn now."""

    file: str
    states: tuple[str, ...]
    grades: tuple[str, ...]
    lots: tuple[LotCandidates, ...]
    classes: tuple[ClassCandidatesSeen, ...]


def candidates_answer(reader: Reader, file: str, wanted: Announce) -> CandidatesAnswer:
    """What could be drawn of a file now, by the lots, states and grades of an announcement.

    Raises NotFound, UnknownSubject for a lot that is none of the file's.
    """
    rows = stored_file(reader, file)
    named = _lots(reader, rows, wanted.lots)
    units: list[Unit] = rows_with(reader, Unit, "lot", named)
    found = _found(units, wanted, rows)
    inside = {one.unit for one in found}
    return CandidatesAnswer(
        file=file,
        states=tuple(wanted.states),
        grades=tuple(wanted.grades),
        lots=tuple(
            LotCandidates(
                lot=lot,
                candidates=sum(unit.lot == lot and unit.unit in inside for unit in units),
                balls=sum(unit.lot == lot for unit in units),
            )
            for lot in named
        ),
        classes=tuple(
            ClassCandidatesSeen(weight_class=pounds, candidates=one.balls, root=one.root)
            for pounds, one in candidate_counts(found).items()
        ),
    )


class ApprovalDesk:
    """What is done about approval files, over one book."""

    def __init__(self, book: Pourbook) -> None:
        """Nothing is held but the book."""
        self._book = book

    def announce(self, file: str, wanted: Announce, key: str, account: Account, future: Any = None) -> Any:
        """Announce samples out of all candidates there are now; their list is stored first. The future gives `Entered`.

        Raises NotFound, UnknownSubject for a lot that is none of the file's, RuleStands where there are too many lots or
        candidates, Forbidden, KeyReused; what the line refuses comes by the future.
        """
        files = NamedFiles()

        def made(reader: Reader) -> list[Record]:
            rows = stored_file(reader, file)
            return [self._announcement(reader, rows, wanted, files)]

        def same(one: Record) -> bool:
            return isinstance(one, SamplesAnnounced) and one.file == file

        return self._say(key, account, same, made, future, files=files)

    def draw(self, file: str, key: str, account: Account, future: Any = None) -> Any:
        """Draw what was announced. Raises NotFound, RuleStands where nothing waits; the future gives `Entered`."""

        def made(reader: Reader) -> list[Record]:
            rows = stored_file(reader, file)
            waiting = next((row for row in rows.announcements if row.drawn is None), None)
            if waiting is None:
                raise RuleStands(
                    f"no announcement of approval file {file} waits for its draw",
                    expected="an announcement",
                    where="file",
                    mend="announce samples first",
                )
            return [self._drawn(reader, waiting)]

        return self._say(key, account, lambda one: isinstance(one, SamplesDrawn) and one.file == file, made, future)

    def replace(self, file: str, wanted: Replace, key: str, account: Account, future: Any = None) -> Any:
        """Replace a sample by the next of its class in the order of the draw that is not passed over.

        Raises NotFound, UnknownSubject for a ball that is no sample, RuleStands where no candidate is left or a ball is
        passed over before its turn.
        """

        def made(reader: Reader) -> list[Record]:
            return [self._replacement(reader, stored_file(reader, file), wanted)]

        def same(one: Record) -> bool:
            return isinstance(one, SampleReplaced) and (one.file, one.unit) == (file, wanted.unit)

        return self._say(key, account, same, made, future)

    def freeze(self, file: str, left_open: Sequence[str], key: str, account: Account, future: Any = None) -> Any:
        """Store what the file rests on as a document, and freeze it. ``left_open``: every item that is not met.

        Raises NotFound, RuleStands where other items are open.
        """
        files = NamedFiles()

        def made(reader: Reader) -> list[Record]:
            stored_file(reader, file)
            digest = files.name(document_now(reader, file), LINES)
            return [ApprovalFileFrozen(at=self._now(), file=file, document=digest, left_open=tuple(left_open))]

        def same(one: Record) -> bool:
            return isinstance(one, ApprovalFileFrozen) and (one.file, one.left_open) == (file, tuple(left_open))

        return self._say(key, account, same, made, future, files=files)

    def sign(self, file: str, freeze: str, key: str, account: Account, future: Any = None) -> Any:
        """Sign what was frozen by the fact that is named, in the file's own words. Raises NotFound, UnknownSubject."""

        def made(reader: Reader) -> list[Record]:
            rows = stored_file(reader, file)
            row = next((one for one in rows.freezes if one.freeze == freeze), None)
            if row is None:
                raise UnknownSubject(
                    f"fact {freeze} does not freeze approval file {file}",
                    where="freeze",
                    mend="name the freeze that stands, after looking at what it says",
                )
            return [ApprovalFileSigned(at=self._now(), file=file, freeze=freeze, says=signing_text(rows.file, row))]

        def same(one: Record) -> bool:
            return isinstance(one, ApprovalFileSigned) and (one.file, one.freeze) == (file, freeze)

        return self._say(key, account, same, made, future)

    def _announcement(
        self, reader: Reader, rows: ApprovalRows, wanted: Announce, files: NamedFiles
    ) -> SamplesAnnounced:
        lots = _lots(reader, rows, wanted.lots)
        units: list[Unit] = rows_with(reader, Unit, "lot", lots)
        found = _found(units, wanted, rows)
        asked = [one for one in found if one.weight_class in wanted.balls]
        if len(found) > MOST_CANDIDATES:
            raise RuleStands(
                "too many candidates for one draw",
                expected=f"at most {MOST_CANDIDATES}",
                got=len(found),
                where="lots",
                mend="name fewer lots",
            )
        counts = candidate_counts(asked)
        _check_enough(wanted.balls, {pounds: one.balls for pounds, one in counts.items()})
        digest = files.name(candidate_list(asked), LINES)
        return SamplesAnnounced(
            at=self._now(),
            file=rows.file.file,
            lots=tuple(lots),
            states=tuple(wanted.states),
            grades=tuple(wanted.grades),
            rule=RULE,
            candidates=digest,
            classes=tuple(
                ClassAnnounced(
                    weight_class=pounds, balls=balls, candidates=counts[pounds].balls, root=counts[pounds].root
                )
                for pounds, balls in sorted(wanted.balls.items())
            ),
            why=UNSET if wanted.why is None else wanted.why,
        )

    def _drawn(self, reader: Reader, row: ApprovalAnnouncement) -> SamplesDrawn:
        seed = seed_of(reader, row.announcement)
        wanted = {pounds: one.balls for pounds, one in announced_classes(row).items()}
        drawn = draw_samples(stored_candidates(reader, row.candidates), wanted, seed)
        return SamplesDrawn(
            at=self._now(),
            file=row.file,
            announcement=row.announcement,
            tree_size=parse_address(row.announcement)[0] + 1,
            seed=seed,
            classes=tuple(ClassDrawn(weight_class=pounds, units=units) for pounds, units in drawn.items()),
        )

    def _replacement(self, reader: Reader, rows: ApprovalRows, wanted: Replace) -> SampleReplaced:
        sample = next((row for row in rows.samples if row.unit == wanted.unit and row.state == "in"), None)
        if sample is None:
            raise UnknownSubject(
                f"ball {wanted.unit} is no sample of approval file {rows.file.file}",
                where="unit",
                mend="name a ball that is a sample now",
            )
        row = next(one for one in rows.announcements if one.announcement == sample.announcement)
        candidates = by_class(stored_candidates(reader, row.candidates)).get(sample.weight_class, [])
        coming = next_drawn((one.unit for one in candidates), row.seed or "", {one.unit for one in rows.samples})
        over = coming[: len(wanted.passed_over)]
        strays = sorted(set(wanted.passed_over) - set(over))
        if strays:
            raise RuleStands(
                f"ball {strays[0]} is passed over before its turn",
                expected=", ".join(over) or "no candidate is left",
                got=strays[0],
                where="passed_over",
                mend="pass over balls from the next one on, each with its reason",
            )
        if len(coming) == len(over):
            raise RuleStands(
                f"no candidate of {sample.weight_class} lb is left",
                expected="a ball to follow",
                where="unit",
                mend="announce more samples",
            )
        return SampleReplaced(
            at=self._now(),
            file=rows.file.file,
            unit=wanted.unit,
            instead=coming[len(over)],
            reason=wanted.reason,
            passed_over=tuple(PassedOver(unit=unit, reason=wanted.passed_over[unit]) for unit in over),
        )

    def _say(
        self,
        key: str,
        account: Account,
        same: Callable[[Record], bool],
        made: Callable[[Reader], list[Record]],
        future: Any,
        *,
        files: NamedFiles | None = None,
    ) -> Any:
        with open_reader(self._book.store) as reader:
            records = said_before(reader, account.account, key, lambda found: len(found) == 1 and same(found[0]))
            if records is None:
                fresh = made(reader)
                check_may_say(account.roles, str(type(fresh[0]).__struct_config__.tag))
                records = tuple(fresh)
        if files is not None:
            files.put_into(self._book.store)
        return self._book.submit(Submission(key=key, records=records), account, future)

    def _now(self) -> str:
        return format_instant(Instant(self._book.clock_ms(), 0))


def _found(units: Sequence[Unit], wanted: Announce, rows: ApprovalRows) -> list[Candidate]:
    return candidates_in(units, wanted.states, wanted.grades, [row.unit for row in rows.samples])


def _check_enough(wanted: Mapping[int, int], there: Mapping[int, int]) -> None:
    for pounds, balls in sorted(wanted.items()):
        if balls > there.get(pounds, 0):
            raise RuleStands(
                f"{pounds} lb has too few candidates",
                expected=f"at least {balls}",
                got=there.get(pounds, 0),
                where="balls",
                mend="name more lots or states, or fewer balls",
            )


def _lots(reader: Reader, rows: ApprovalRows, named: Sequence[str]) -> list[str]:
    """The shell lots named, or all of the file's model and revision, by id. Raises UnknownSubject, RuleStands, NotFound."""
    lots: list[Lot] = reader.rows(Lot, "model", rows.file.model)
    known = sorted(lot.lot for lot in lots if lot.stage == "shell" and lot.revision == rows.file.revision)
    for place, lot in enumerate(named):
        if lot not in known:
            raise UnknownSubject(
                f"lot {lot} is no shell lot of {rows.file.model} revision {rows.file.revision}",
                where=f"lots[{place}]",
                mend="name shell lots of the file's model and revision, or none for all of them",
            )
    chosen = sorted(set(named)) if named else known
    if not chosen:
        raise NotFound(
            f"no shell of {rows.file.model} revision {rows.file.revision} was poured",
            where="lots",
            mend="pour some first",
        )
    if len(chosen) > MOST_LOTS:
        raise RuleStands(
            "too many lots for one announcement",
            expected=f"at most {MOST_LOTS}",
            got=len(chosen),
            where="lots",
            mend="name the lots, the newest for example; those that are left out are stated beside the draw",
        )
    return chosen
