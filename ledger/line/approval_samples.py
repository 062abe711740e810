"""Samples of an approval file: announced, drawn by what the announcement became, replaced by the next in order.

The rule and what it is worth are told in `approval_draw`.  The line checks what a state shows: that the announcement states
every candidate there is at its own index, by count and root, and that the draw is of an announcement that waits for one.
That a draw follows from its seed, and the seed from the tree, is checked against the tree by the application before
(`ledger.application.said_approvals`), and by whoever holds a dossier.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.approval_draw import Candidate, candidate_counts, candidate_list
from ledger.line.approval_files import approval_node, classes_of, file_need, open_file
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFile, ApprovalSample
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.moulding import WeightClass
from ledger.line.record import Address, Count, Digest, Id, Part, Record, Slug
from ledger.line.releases import Grade
from ledger.line.rows import Lot, Unit
from ledger.line.state import Need, State

MOST_CANDIDATES = 20_000
"""Balls out of which one announcement draws: they are gone through while the announcement is entered."""

Ready = Literal["engraved", "released"]
"""States of a ball that may be a sample: it has its number, and is neither away nor worked on again."""

Balls = Annotated[int, Meta(ge=1, le=1_000)]


class ClassAnnounced(Part, frozen=True, kw_only=True):
    """How many balls of a class will be drawn, and out of which: their count, and their root (see `balls_root`)."""

    weight_class: WeightClass
    balls: Balls
    candidates: Count
    root: Digest


class SamplesAnnounced(Record, frozen=True, kw_only=True, tag="approval-samples-announced"):
    """Samples will be drawn out of all balls of these shell lots that are in one of these states and at the plant.

    ``grades``: of those that were released, balls of one of these alone; without any, of every grade.
    ``candidates``: SHA-256 of the list of candidates (`candidate_list`).  ``why``: why more are drawn, where it is not the
    first announcement of the file.
    """

    file: Id
    lots: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=100)]
    states: Annotated[tuple[Ready, ...], Meta(min_length=1, max_length=2)]
    grades: Annotated[tuple[Grade, ...], Meta(max_length=5)] = ()
    rule: Literal["draw-1"]
    candidates: Digest
    classes: Annotated[tuple[ClassAnnounced, ...], Meta(min_length=1, max_length=13)]
    why: Slug | UnsetType = UNSET


class ClassDrawn(Part, frozen=True, kw_only=True):
    """The balls drawn of a class, in the order of the draw."""

    weight_class: WeightClass
    units: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=1_000)]


class SamplesDrawn(Record, frozen=True, kw_only=True, tag="approval-samples-drawn"):
    """The balls that an announcement gave: by the seed from the tree of ``tree_size``, which ends with the announcement."""

    file: Id
    announcement: Address
    tree_size: Annotated[int, Meta(ge=1, le=2**53 - 1)]
    seed: Digest
    classes: Annotated[tuple[ClassDrawn, ...], Meta(min_length=1, max_length=13)]


class PassedOver(Part, frozen=True, kw_only=True):
    """A ball whose turn it was and that cannot be a sample, and why."""

    unit: Id
    reason: Slug


class SampleReplaced(Record, frozen=True, kw_only=True, tag="approval-sample-replaced"):
    """A sample is none any more; the next of its class in the order of the draw takes its place.

    ``passed_over``: balls between the last one used and that one, in order.
    """

    file: Id
    unit: Id
    instead: Id
    reason: Slug
    passed_over: Annotated[tuple[PassedOver, ...], Meta(max_length=200)] = ()


def candidates_in(
    units: Iterable[Unit], states: Iterable[str], grades: Iterable[str], taken: Iterable[str]
) -> list[Candidate]:
    """The balls among these that can be drawn: with class and number, in one of the states, here, and not drawn before.

    A ball that was released has one of the grades, where any is named.
    """
    wanted, graded, gone = set(states), set(grades), set(taken)
    return [
        Candidate(unit.weight_class, unit.unit, unit.serial)
        for unit in units
        if unit.weight_class is not None
        and unit.serial is not None
        and unit.state in wanted
        and unit.away is None
        and (not graded or unit.grade is None or unit.grade in graded)
        and unit.unit not in gone
    ]


def list_digest(raw: bytes) -> str:
    """SHA-256, 64 hex digits, of a file that a record names."""
    return hashlib.sha256(raw).hexdigest()


def announced_classes(row: ApprovalAnnouncement) -> dict[int, ClassAnnounced]:
    """What an announcement states of each class."""
    rows: list[list[Any]] = msgspec.json.decode(row.classes)
    return {
        weight_class: ClassAnnounced(weight_class=weight_class, balls=balls, candidates=count, root=root)
        for weight_class, balls, count, root in rows
    }


def _announced_needs(record: SamplesAnnounced, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalAnnouncement, "file", record.file)
    yield Need(ApprovalSample, "file", record.file)
    for lot in record.lots:
        yield Need(Lot, "lot", lot)
        yield Need(Unit, "lot", lot)


def _announced_check(record: SamplesAnnounced, state: State, _setting: Setting) -> list[Breach]:
    file = open_file(state, record.file)
    for values, where in ((record.lots, "lots"), (record.states, "states"), (record.grades, "grades")):
        if len(set(values)) != len(values):
            raise Contradiction(f"one of the {where} is named twice", where=where, mend="name each once")
    for place, name in enumerate(record.lots):
        _check_lot(known_lot(state, name, where=f"lots[{place}]", stages=("shell",)), file, f"lots[{place}]")
    _check_in_turn(record, state)
    taken = (row.unit for row in state.where(ApprovalSample, "file", record.file))
    units = [unit for lot in record.lots for unit in state.where(Unit, "lot", lot)]
    _check_candidates(record, file, candidates_in(units, record.states, record.grades, taken))
    return []


def _check_lot(lot: Lot, file: ApprovalFile, where: str) -> None:
    if (lot.model, lot.revision) != (file.model, file.revision):
        raise Contradiction(
            f"lot {lot.lot} is not of what the file applies for",
            expected=f"{file.model} revision {file.revision}",
            got=f"{lot.model} revision {lot.revision}",
            where=where,
            mend="name shell lots of the file's model and revision",
        )


def _check_in_turn(record: SamplesAnnounced, state: State) -> None:
    """Whoever announced draws before announcing anew, so that no draw is left aside unseen."""
    earlier = state.where(ApprovalAnnouncement, "file", record.file)
    waiting = next((row for row in earlier if row.drawn is None), None)
    if waiting is not None:
        raise RuleStands(
            f"what fact {waiting.announcement} announced is not drawn yet",
            expected="every announcement drawn",
            where="file",
            mend="draw it first; what was announced is not taken back",
        )
    if earlier and record.why is UNSET:
        raise RuleStands(
            f"samples were announced {len(earlier)} times before",
            expected="a reason",
            got="none",
            where="why",
            mend="say why more samples are drawn; every announcement stays on the file",
        )


def _check_candidates(record: SamplesAnnounced, file: ApprovalFile, candidates: list[Candidate]) -> None:
    if len(candidates) > MOST_CANDIDATES:
        raise RuleStands(
            "too many candidates for one draw",
            expected=f"at most {MOST_CANDIDATES}",
            got=len(candidates),
            where="lots",
            mend="announce fewer lots",
        )
    applied, seen, counts = classes_of(file), set[int](), candidate_counts(candidates)
    for place, said in enumerate(record.classes):
        where = f"classes[{place}]"
        if said.weight_class not in applied or said.weight_class in seen:
            raise Contradiction(
                f"{said.weight_class} lb is {'named twice' if said.weight_class in seen else 'no class of the file'}",
                expected=f"one of {', '.join(map(str, applied))}, each once",
                got=said.weight_class,
                where=f"{where}.weight_class",
                mend="name classes that the file applies for",
            )
        seen.add(said.weight_class)
        found = counts.get(said.weight_class)
        count, root = (0, "none") if found is None else found
        if (said.candidates, said.root) != (count, root):
            raise RuleStands(
                f"{said.weight_class} lb has other candidates than stated",
                expected=f"{count} balls with root {root}",
                got=f"{said.candidates} with root {said.root}",
                where=where,
                mend="look the candidates up again, and announce with their count and root",
            )
        if said.balls > count:
            raise RuleStands(
                f"{said.weight_class} lb has too few candidates",
                expected=f"at least {said.balls}",
                got=count,
                where=f"{where}.balls",
                mend="announce more lots or states, or fewer balls",
            )
    whole = list_digest(candidate_list(one for one in candidates if one.weight_class in seen))
    if record.candidates != whole:
        raise RuleStands(
            "the list of candidates is another than stated",
            expected=whole,
            got=record.candidates,
            where="candidates",
            mend="make the list again from the candidates as they stand",
        )


def _announced_effects(fact: Fact, state: State) -> None:
    record: SamplesAnnounced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalAnnouncement(
            announcement=fact.address,
            file=record.file,
            lots=",".join(record.lots),
            states=",".join(record.states),
            grades=",".join(record.grades),
            rule=record.rule,
            candidates=record.candidates,
            classes=encode(
                [[one.weight_class, one.balls, one.candidates, one.root] for one in record.classes]
            ).decode(),
            why=None if record.why is UNSET else record.why,
            at_ms=fact.at_ms,
            by=fact.author,
        )
    )


def _drawn_needs(record: SamplesDrawn, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalAnnouncement, "announcement", record.announcement)
    yield Need(ApprovalSample, "file", record.file)


def _drawn_check(record: SamplesDrawn, state: State, _setting: Setting) -> list[Breach]:
    open_file(state, record.file)
    row = state.one(ApprovalAnnouncement, record.announcement)
    if row is None or row.file != record.file:
        raise UnknownSubject(
            f"fact {record.announcement} announces no samples of file {record.file}",
            where="announcement",
            mend="announce the samples first, and name the fact that does",
        )
    if row.drawn is not None:
        raise Contradiction(
            f"it was drawn already, by fact {row.drawn}", where="announcement", mend="replace a ball, or announce more"
        )
    size = parse_address(record.announcement)[0] + 1
    if record.tree_size != size:
        raise RuleStands(
            "the seed is of another tree than the one that ends with the announcement",
            expected=size,
            got=record.tree_size,
            where="tree_size",
            mend="draw by the tree that ends with the entry of the announcement",
        )
    said = {one.weight_class: len(set(one.units)) for one in record.classes}
    wanted = {weight_class: one.balls for weight_class, one in announced_classes(row).items()}
    if said != wanted or len(record.classes) != len(wanted):
        raise Contradiction(
            "not what was announced",
            expected=", ".join(f"{balls} of {pounds} lb" for pounds, balls in sorted(wanted.items())),
            got=", ".join(f"{balls} of {pounds} lb" for pounds, balls in sorted(said.items())),
            where="classes",
            mend="draw as many of each class as the announcement says",
        )
    _refuse_taken(record.file, [unit for one in record.classes for unit in one.units], state, "classes")
    return []


def _refuse_taken(file: str, units: list[str], state: State, where: str) -> None:
    taken = {row.unit: row for row in state.where(ApprovalSample, "file", file)}
    for unit in units:
        if unit in taken or units.count(unit) > 1:
            by = f" by fact {taken[unit].address}" if unit in taken else " twice here"
            raise Contradiction(
                f"ball {unit} was drawn{by}", where=where, mend="name the balls that the draw gives, each once"
            )


def _drawn_effects(fact: Fact, state: State) -> None:
    record: SamplesDrawn = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = state.held(ApprovalAnnouncement, record.announcement)
    if row is not None:
        state.put(msgspec.structs.replace(row, drawn=fact.address, seed=record.seed))
    for one in record.classes:
        for place, unit in enumerate(one.units):
            state.put(_sample(fact, record.file, unit, (one.weight_class, record.announcement, place)))


def _sample(fact: Fact, file: str, unit: str, where: tuple[int, str, int]) -> ApprovalSample:
    weight_class, announcement, place = where
    return ApprovalSample(
        sample=sample_key(file, unit),
        file=file,
        unit=unit,
        weight_class=weight_class,
        announcement=announcement,
        place=place,
        state="in",
        address=fact.address,
    )


def sample_key(file: str, unit: str) -> str:
    """The key of a sample's row."""
    return f"{file}@{unit}"


def _replaced_needs(record: SampleReplaced, _state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalSample, "file", record.file)


def _replaced_check(record: SampleReplaced, state: State, _setting: Setting) -> list[Breach]:
    open_file(state, record.file)
    row = next((one for one in state.where(ApprovalSample, "file", record.file) if one.unit == record.unit), None)
    if row is None or row.state != "in":
        why = "was never drawn" if row is None else f"is {row.state} already, by fact {row.out}"
        raise UnknownSubject(
            f"ball {record.unit} {why}", where="unit", mend="name a ball that is a sample of the file now"
        )
    _refuse_taken(record.file, [*(one.unit for one in record.passed_over), record.instead], state, "instead")
    return []


def _replaced_effects(fact: Fact, state: State) -> None:
    record: SampleReplaced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    old = state.held(ApprovalSample, sample_key(record.file, record.unit))
    if old is None:
        return
    used = [
        row.place
        for row in state.where(ApprovalSample, "file", record.file)
        if (row.announcement, row.weight_class) == (old.announcement, old.weight_class)
    ]
    state.put(
        msgspec.structs.replace(old, state="replaced", reason=record.reason, out=fact.address, instead=record.instead)
    )
    place = max(used) + 1
    for number, one in enumerate(record.passed_over):
        row = _sample(fact, record.file, one.unit, (old.weight_class, old.announcement, place + number))
        state.put(msgspec.structs.replace(row, state="passed-over", reason=one.reason, out=fact.address))
    last = place + len(record.passed_over)
    state.put(_sample(fact, record.file, record.instead, (old.weight_class, old.announcement, last)))


def _about(record: SamplesAnnounced | SamplesDrawn | SampleReplaced) -> list[str]:
    return [approval_node(record.file)]


KINDS = (
    Kind(SamplesAnnounced, "decision", _announced_needs, _announced_check, _announced_effects, _about),
    Kind(SamplesDrawn, "decision", _drawn_needs, _drawn_check, _drawn_effects, _about),
    Kind(SampleReplaced, "decision", _replaced_needs, _replaced_check, _replaced_effects, _about),
)
