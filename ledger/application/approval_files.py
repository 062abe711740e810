"""Approval files as a person sees them: the list, and one with what is missing, what stands in the way, and what changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from ledger.application.adopted_files import checklist_by_digest, rulebooks_here
from ledger.application.approval_changes import FoundChange, change_words, changes_since
from ledger.application.approval_stored import (
    checklist_of,
    core_of,
    document_now,
    sample_balls,
    stored_file,
    stored_files,
)
from ledger.application.approval_ways import ChangeSeen, Way, ways_on
from ledger.application.histories import Told, history_of, instant_text
from ledger.application.judging import grounds_of, judge_by, judged_rows
from ledger.conformity.checklist import Checklist
from ledger.conformity.completeness import SampleBall, summary
from ledger.conformity.verdict import Outcome
from ledger.errors import NotFound
from ledger.evidence.approval_facts import ApprovalRows, approval_states, sample_units
from ledger.evidence.approval_sheet import ApprovalPage, approval_page
from ledger.line.approval_files import approval_node, classes_of
from ledger.line.approval_rows import ApprovalFile
from ledger.line.approval_samples import list_digest
from ledger.line.approval_signing import signing_text
from ledger.line.fact import parse_address
from ledger.line.rows import FactRow, Lot, Model
from ledger.store.first_published import first_published, first_stamped
from ledger.store.reader import Reader
from ledger.store.selections import every_row, rows_with, select_units

CAUTION = (
    "An approval file is the maker's own: approval rests with the governing body. How many balls and which papers it asks "
    "for must be checked against its current manual; what the checklist has from memory or at second hand says so."
)


class ApprovalSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One file in a list. ``said``: how far it is, in a sentence; ``draws``: announcements, of which ``drawn`` were drawn.

    ``unreported``: changes that were found and that the body was not told.
    """

    file: str
    model: str
    model_name: str
    revision: int
    body: str
    classes: tuple[int, ...]
    state: str
    said: str
    opened_at: str
    by: str
    fact: str
    samples: int
    draws: int
    drawn: int
    met: int
    items: int
    signatures: int
    reopened: int = 0
    unreported: int = 0
    answer: str | None = None


class SampleSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A sample ball as it is now: number, state at the plant, and how it comes out by the file's own edition."""

    unit: str
    state: str
    serial: str | None = None
    outcome: Outcome | None = None


class SeenByOthers(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How soon others held what fixes a draw: the first kept checkpoint with cosignatures that covers the announcement,
    and the earliest time token over one. Neither is there where no witness or time authority is set up.

    ``lots_then``: shell lots of the model and revision that stood before the announcement, of which ``lots`` were named.
    """

    announcement: str
    announced_at: str
    lots: int
    lots_then: int
    published_at: str | None = None
    published_size: int | None = None
    stamped_at: str | None = None


class ApprovalView(msgspec.Struct, frozen=True, kw_only=True):
    """One file. ``page`` is what a dossier of it states; ``sign``: the words to be signed, where it waits for signatures.

    ``ways``: each next step, whether it may be done, and what stands in the way.  ``others``: other files of this model.
    """

    approval: ApprovalSeen
    page: ApprovalPage
    checklist: Checklist
    rulebook: str
    balls: tuple[SampleSeen, ...]
    ways: tuple[Way, ...]
    changes: tuple[ChangeSeen, ...]
    draws: tuple[SeenByOthers, ...]
    others: tuple[ApprovalSeen, ...]
    history: tuple[Told, ...]
    sign: str | None = None
    caution: str = CAUTION


def approvals_of(reader: Reader) -> tuple[ApprovalSeen, ...]:
    """Every file: those worked on first, then by when they were opened."""
    return _seen_all(reader, every_row(reader.transaction, ApprovalFile))


def approval_view(reader: Reader, file: str) -> ApprovalView:
    """One file. Raises NotFound, also where the file of its checklist is not here."""
    rows = stored_file(reader, file)
    checklist, core = checklist_of(reader, rows.file), core_of(reader, rows.file.model)
    balls = sample_balls(reader, sample_units(rows))
    found = changes_since(reader, rows)
    freeze = next((row for row in rows.freezes if row.freeze == rows.file.frozen), None)
    same = freeze is None or list_digest(document_now(reader, file)) == freeze.digest
    states = approval_states(rows, checklist, balls, core)
    of_model: list[ApprovalFile] = reader.rows(ApprovalFile, "model", rows.file.model)
    rulebook, seen = _judged(reader, rows)
    changes = tuple(_changes(rows, found))
    return ApprovalView(
        approval=_seen(reader, [rows], {file: (checklist, core)}, balls)[0],
        page=approval_page(rows, checklist, balls, core),
        checklist=checklist,
        rulebook=rulebook,
        balls=seen,
        ways=tuple(ways_on(rows, states, changes, same=same)),
        changes=changes,
        draws=tuple(_draws(reader, rows)),
        others=_seen_all(reader, [row for row in of_model if row.file != file]),
        history=history_of(reader, [approval_node(file)]),
        sign=None if freeze is None or rows.file.state not in {"frozen", "signed"} else signing_text(rows.file, freeze),
    )


def _seen_all(reader: Reader, files: Sequence[ApprovalFile]) -> tuple[ApprovalSeen, ...]:
    order = sorted(files, key=lambda row: (row.state in {"answered", "withdrawn"}, row.opened_ms, row.file))
    stored = stored_files(reader, [row.file for row in order])
    lists = {row.file: (checklist_by_digest(reader, row.checklist), core_of(reader, row.model)) for row in order}
    balls = sample_balls(reader, sorted({unit for rows in stored.values() for unit in sample_units(rows)}))
    return tuple(_seen(reader, list(stored.values()), lists, balls))


def _seen(
    reader: Reader,
    files: Sequence[ApprovalRows],
    lists: Mapping[str, tuple[Checklist | None, str]],
    balls: Mapping[str, SampleBall],
) -> list[ApprovalSeen]:
    models: list[Model] = rows_with(reader, Model, "model", {rows.file.model for rows in files})
    names = {model.model: model.name for model in models}
    return [_one_seen(rows, lists[rows.file.file], balls, names.get(rows.file.model, "")) for rows in files]


def _one_seen(
    rows: ApprovalRows, gathered: tuple[Checklist | None, str], balls: Mapping[str, SampleBall], name: str
) -> ApprovalSeen:
    file, (checklist, core) = rows.file, gathered
    states = () if checklist is None else approval_states(rows, checklist, balls, core)
    applying = [state for state in states if state.applies]
    signed = [row for row in rows.signatures if row.freeze == file.frozen]
    open_now = [row for row in rows.changes if row.reported is None and row.freeze == file.frozen]
    return ApprovalSeen(
        file=file.file,
        model=file.model,
        model_name=name,
        revision=file.revision,
        body=file.body,
        classes=classes_of(file),
        state=file.state,
        said="the file of its checklist is not here" if checklist is None else summary(states),
        opened_at=instant_text(file.opened_ms),
        by=file.by,
        fact=file.address,
        samples=sum(row.state == "in" for row in rows.samples),
        draws=len(rows.announcements),
        drawn=sum(row.drawn is not None for row in rows.announcements),
        met=sum(state.met for state in applying),
        items=len(applying),
        signatures=len(signed),
        reopened=file.reopened,
        unreported=len(open_now),
        answer=file.answer,
    )


def _judged(reader: Reader, rows: ApprovalRows) -> tuple[str, tuple[SampleSeen, ...]]:
    """The edition's name, and the samples that stand, judged by it; no outcome where its file is not here."""
    try:
        edition = rulebooks_here(reader).find(rows.file.rulebook)
    except NotFound:
        edition = None
    inside = [row.unit for row in rows.samples if row.state == "in"]
    selected = {one.unit.unit: one for one in select_units(reader.transaction, inside)} if inside else {}
    grounds = grounds_of(reader, list(selected.values()))
    seen = []
    for unit in inside:
        one = selected.get(unit)
        if one is None:
            continue
        outcome = None if edition is None else judge_by(edition, judged_rows(one, grounds), None).outcome
        seen.append(SampleSeen(unit=unit, state=one.unit.state, serial=one.unit.serial, outcome=outcome))
    return "" if edition is None else edition.rulebook.id, tuple(seen)


def _changes(rows: ApprovalRows, found: Sequence[FoundChange]) -> Iterator[ChangeSeen]:
    """Those of the freeze that stands: what facts say, then what is found and not said yet."""
    said = [row for row in rows.changes if row.freeze == rows.file.frozen]
    for row in said:
        words = change_words(row.sort, row.subject, row.fact)
        yield ChangeSeen(
            sort=row.sort,
            subject=row.subject,
            fact=row.fact,
            said=words,
            found_by=row.change,
            reported_by=row.reported,
        )
    known = {(row.sort, row.subject, row.fact) for row in said}
    for one in found:
        if (one.sort, one.subject, one.fact) not in known:
            yield ChangeSeen(sort=one.sort, subject=one.subject, fact=one.fact, said=one.said)


def _draws(reader: Reader, rows: ApprovalRows) -> Iterator[SeenByOthers]:
    lots: list[Lot] = reader.rows(Lot, "model", rows.file.model)
    shells = [lot for lot in lots if lot.stage == "shell" and lot.revision == rows.file.revision]
    facts: list[FactRow] = rows_with(reader, FactRow, "address", [row.announcement for row in rows.announcements])
    entered = {fact.address: fact.recorded_ms for fact in facts}
    for row in rows.announcements:
        at = parse_address(row.announcement)
        published = first_published(reader.transaction, at[0] + 1)
        stamped = first_stamped(reader.transaction, at[0] + 1)
        yield SeenByOthers(
            announcement=row.announcement,
            announced_at=instant_text(entered.get(row.announcement, row.at_ms)),
            lots=len(row.lots.split(",")),
            lots_then=sum(parse_address(lot.address) < at for lot in shells),
            published_at=None if published is None else instant_text(published.at_ms),
            published_size=None if published is None else published.size,
            stamped_at=None if stamped is None else instant_text(stamped.at_ms),
        )
