"""Facts about approval files that the line cannot check by itself: looked up in the store before they are queued.

A draw follows from the tree, and a replacement from the order of its draw; an answer names items of the checklist and files
that are stored; a freeze says which items are left open, all of them and no other; what a record names by its digest is
stored here.  What changes between the look and the entry is the line's: it refuses other candidates, a ball that was drawn
meanwhile, and a document that is another by then.

A key that was used already is left to the writer, which enters nothing for it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any, NamedTuple

from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.adopted_files import checklist_by_digest
from ledger.application.approval_stored import (
    by_class,
    checklist_of,
    core_of,
    sample_balls,
    seed_of,
    stored_candidates,
    stored_file,
)
from ledger.application.file_types import JPEG, PNG, file_type
from ledger.application.said_places import said_places
from ledger.conformity.checklist import Checklist, Item
from ledger.conformity.completeness import open_items
from ledger.errors import NotFound, RuleStands, UnknownSubject
from ledger.evidence.approval_facts import ApprovalRows, approval_states, sample_units
from ledger.line.approval_changes import ApprovalChangeReported
from ledger.line.approval_draw import check_draw, next_drawn
from ledger.line.approval_files import ApprovalFileOpened
from ledger.line.approval_items import STATEMENT, ApprovalItemAnswered, answer_parts
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFile
from ledger.line.approval_samples import SampleReplaced, SamplesAnnounced, SamplesDrawn
from ledger.line.approval_signing import ApprovalFileAnswered, ApprovalFileFrozen
from ledger.line.record import Record
from ledger.line.submission import Submission, said_records
from ledger.store.blobs import blob_ends
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader

_SEND = "send its bytes first (POST /blobs), then name it by the digest of the answer"


class _Said(NamedTuple):
    """A record, where it stands in words, and the files that the submission opens."""

    record: Any
    where: str
    opened: Mapping[str, str]


def check_said_approvals(store: Store, submission: Submission, account: Account) -> None:
    """Check the facts about approval files of a submission (see above).

    Raises UnknownSubject for what is not stored or no item of the checklist, RuleStands for a draw, a replacement or a list
    of open items that is another.  Costs nothing where there are no such records.
    """
    records = said_records(submission)
    if LOOKED_AT.isdisjoint(map(type, records)):
        return
    opened = {record.file: record.checklist for record in records if isinstance(record, ApprovalFileOpened)}
    with open_reader(store) as reader:
        if reader.requested(account.account, submission.key) is not None:
            return
        for one in said_places(records):
            check = _CHECKS.get(type(one.record))
            if check is not None:
                check(reader, _Said(one.record, one.where, opened))


def _check_opened(reader: Reader, said: _Said) -> None:
    if checklist_by_digest(reader, said.record.checklist) is None:
        raise UnknownSubject(
            "the file of that checklist is not here",
            got=said.record.checklist,
            where=f"{said.where}.checklist",
            mend="send the checklist's file (POST /checklists), and name its digest",
        )


def _check_announced(reader: Reader, said: _Said) -> None:
    _check_stored(reader, {f"{said.where}.candidates": said.record.candidates}, "the list of candidates")


def _announcement(reader: Reader, said: _Said, address: str) -> ApprovalAnnouncement | None:
    """The announcement; None for one that the line refuses by name. Raises UnknownSubject for one not entered yet."""
    row = reader.one(ApprovalAnnouncement, address)
    if row is None:
        raise UnknownSubject(
            f"fact {address} announces no samples that stand in the book",
            where=f"{said.where}.announcement",
            mend="draw once the announcement is entered: its entry gives the seed",
        )
    return row if row.file == said.record.file else None


def _check_drawn(reader: Reader, said: _Said) -> None:
    record: SamplesDrawn = said.record
    row = _announcement(reader, said, record.announcement)
    if row is None:
        return
    seed = seed_of(reader, record.announcement)
    if record.seed != seed:
        raise RuleStands(
            "the seed is not the one that the announcement gives",
            expected=seed,
            got=record.seed,
            where=f"{said.where}.seed",
            mend="work the seed out from the tree that ends with the announcement's entry",
        )
    candidates = stored_candidates(reader, row.candidates)
    drawn = {one.weight_class: one.units for one in record.classes}
    check_draw(candidates, drawn, seed, where=f"{said.where}.classes")


def _check_replaced(reader: Reader, said: _Said) -> None:
    record: SampleReplaced = said.record
    rows = _rows(reader, record.file)
    sample = None if rows is None else next((one for one in rows.samples if one.unit == record.unit), None)
    if rows is None or sample is None:
        return  # the line says so
    row = next(one for one in rows.announcements if one.announcement == sample.announcement)
    units = [one.unit for one in by_class(stored_candidates(reader, row.candidates)).get(sample.weight_class, ())]
    coming = next_drawn(units, row.seed or "", {one.unit for one in rows.samples})
    named = [*(one.unit for one in record.passed_over), record.instead]
    if named != coming[: len(named)]:
        raise RuleStands(
            "the ball is not the next in the order of the draw",
            expected=", ".join(coming[: len(named)]) or "no candidate is left",
            got=", ".join(named),
            where=f"{said.where}.instead",
            mend="take the next ball, or pass over it with the reason why it cannot be a sample",
        )


def _rows(reader: Reader, file: str) -> ApprovalRows | None:
    try:
        return stored_file(reader, file)
    except NotFound:
        return None


def _check_answered(reader: Reader, said: _Said) -> None:
    record: ApprovalItemAnswered = said.record
    row = reader.one(ApprovalFile, record.file)
    digest = said.opened.get(record.file, "") if row is None else row.checklist
    checklist = checklist_by_digest(reader, digest) if digest else None
    if checklist is None:
        return  # the line says that there is no such file
    item = next((one for one in checklist.items if one.id == record.item), None)
    if item is None:
        raise UnknownSubject(
            f"checklist {checklist.id} has no item {record.item}",
            expected="one of " + ", ".join(one.id for one in checklist.items),
            where=f"{said.where}.item",
            mend="name an item of the file's checklist",
        )
    for part in answer_parts(record):
        known = _names(item)[part.sort]
        if part.name not in known:
            raise UnknownSubject(
                f"item {item.id} asks for no {part.sort} {part.name}",
                expected=", ".join(known) or f"no {part.sort}",
                got=part.name,
                where=f"{said.where}.{part.where}",
                mend="use the name that the checklist gives it",
            )
    _check_stored(reader, {f"{said.where}.{part.where}": part.digest for part in answer_parts(record)}, "the file")
    photos = {f"{said.where}.{part.where}": part.digest for part in answer_parts(record) if part.sort == "photo"}
    _check_pictures(reader, photos)


def _names(item: Item) -> dict[str, Collection[str]]:
    return {
        "document": item.documents,
        "photo": item.photos,
        "field": item.fields,
        STATEMENT: (STATEMENT,) if item.statement else (),
    }


def _check_stored(reader: Reader, named: Mapping[str, str | None], what: str) -> None:
    wanted = {where: digest for where, digest in named.items() if digest is not None}
    stored = blob_ends(reader.transaction, list(dict.fromkeys(wanted.values()))) if wanted else {}
    for where, digest in wanted.items():
        if digest not in stored:
            raise UnknownSubject(f"{what} is not stored", got=digest, where=where, mend=_SEND)


def _check_pictures(reader: Reader, named: Mapping[str, str | None]) -> None:
    stored = blob_ends(reader.transaction, [digest for digest in named.values() if digest is not None]) if named else {}
    for where, digest in named.items():
        if digest in stored and file_type(*stored[digest]) not in {PNG, JPEG}:
            raise RuleStands(
                "the photo is no picture, by its own bytes",
                expected="PNG or JPEG, whole",
                got=f"a file that begins with {stored[digest][0][:8].hex(' ') or 'nothing'}",
                where=where,
                mend="send a PNG or JPEG file",
            )


def _check_frozen(reader: Reader, said: _Said) -> None:
    record: ApprovalFileFrozen = said.record
    rows = _rows(reader, record.file)
    if rows is None:
        return  # the line says so, or the file is opened beside it, and then its document is another
    left = left_open_now(reader, rows, checklist_of(reader, rows.file))
    if sorted(record.left_open) != sorted(left):
        raise RuleStands(
            f"{len(left)} items of approval file {record.file} are open",
            expected="left_open " + (", ".join(left) if left else "with nothing"),
            got=", ".join(record.left_open) or "nothing",
            where=f"{said.where}.left_open",
            mend="answer them, or name each that stays open: the signatures will say so",
        )
    _check_stored(reader, {f"{said.where}.document": record.document}, "the frozen document")


def left_open_now(reader: Reader, rows: ApprovalRows, checklist: Checklist) -> tuple[str, ...]:
    """The items of a file that are not met at this look."""
    balls = sample_balls(reader, sample_units(rows))
    return open_items(approval_states(rows, checklist, balls, core_of(reader, rows.file.model)))


def _check_letter(reader: Reader, said: _Said) -> None:
    record: ApprovalFileAnswered | ApprovalChangeReported = said.record
    if record.letter is not UNSET:
        _check_stored(reader, {f"{said.where}.letter": record.letter}, "the letter")


_CHECKS: dict[type[Record], Callable[[Reader, _Said], None]] = {
    ApprovalFileOpened: _check_opened,
    SamplesAnnounced: _check_announced,
    SamplesDrawn: _check_drawn,
    SampleReplaced: _check_replaced,
    ApprovalItemAnswered: _check_answered,
    ApprovalFileFrozen: _check_frozen,
    ApprovalFileAnswered: _check_letter,
    ApprovalChangeReported: _check_letter,
}

LOOKED_AT: frozenset[type[Record]] = frozenset(_CHECKS)
"""Kinds for which `check_said_approvals` has to look into the store."""
