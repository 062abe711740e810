"""The page of an approval file in a dossier, made from its rows: the same from the service's views and from entries.

What a dossier of an approval file does with it:

    rows   = fold_approvals(facts)[file]        facts: every fact of an approval kind in the dossier, in order (no
                                                correction touches one); the service reads the same rows from its views
    balls  = {sheet.unit: sample_ball(sheet)}   from the ball sheets of the dossier
    page   = approval_page(rows, checklist, balls, core)        `approval.json` is `format_page(page)`
    nodes  = approval_nodes(rows)               whose facts the dossier needs, beside those of the balls' sheets
    files  = approval_files(rows)               digests of the files that go into `documents/`, and what each is
    check_approval(...) in `approval_check`     what the lists, seeds and frozen documents show

The rows and what follows from them are `approval_facts`'s.  ``balls`` are those of `sample_units`: every ball that the draw
gave, replaced ones too.  ``core`` is the model's.
No row and no page holds a sealed value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from ledger.conformity.checklist import Checklist
from ledger.conformity.completeness import ItemState, SampleBall
from ledger.evidence.approval_facts import ApprovalRows, approval_states, left_open
from ledger.evidence.dossier_format import BallSheet, Page, Sha256, Text, UnitId, Whole
from ledger.line.approval_files import classes_of
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalChange, ApprovalReply, ApprovalSample
from ledger.line.approval_samples import announced_classes


class ClassLine(Page, frozen=True, kw_only=True):
    """Of a class: how many balls were announced, out of how many candidates, and the root over these."""

    weight_class: Whole
    balls: Whole
    candidates: Whole
    root: Sha256


class AnnouncementLine(Page, frozen=True, kw_only=True):
    """An announcement of samples, and the draw that it gave; ``candidates``: the file that lists them."""

    fact: Text
    lots: tuple[Text, ...]
    states: tuple[Text, ...]
    grades: tuple[Text, ...] = ()
    rule: Text
    candidates: Sha256
    classes: tuple[ClassLine, ...]
    why: Text | UnsetType = UNSET
    drawn: Text | UnsetType = UNSET
    seed: Sha256 | UnsetType = UNSET


class SampleLine(Page, frozen=True, kw_only=True):
    """A ball that the draw gave; ``state``: in, replaced, passed-over."""

    unit: UnitId
    weight_class: Whole
    announcement: Text
    place: Whole
    state: Text
    fact: Text
    reason: Text | UnsetType = UNSET
    out: Text | UnsetType = UNSET
    instead: Text | UnsetType = UNSET


class CountLine(Page, frozen=True, kw_only=True):
    """Balls of a class, or of all: wanted (absent where the checklist does not say), drawn and measured."""

    weight_class: Whole | UnsetType = UNSET
    wanted: Whole | UnsetType = UNSET
    drawn: Whole
    measured: Whole


class ItemLine(Page, frozen=True, kw_only=True):
    """An item of the checklist; ``missing``: what is, in sentences."""

    item: Text
    text: Text
    met: bool
    applies: bool
    counts: tuple[CountLine, ...] = ()
    missing: tuple[Annotated[str, Meta(max_length=20_000)], ...] = ()


class PartLine(Page, frozen=True, kw_only=True):
    """A part of an answer. ``digest``: the file, where it is one; ``stands``: no later part took its place."""

    item: Text
    sort: Text
    name: Text
    fact: Text
    stands: bool
    unit: Text | UnsetType = UNSET
    digest: Sha256 | UnsetType = UNSET


class FreezeLine(Page, frozen=True, kw_only=True):
    """A freeze: the file with the document that was signed, and what was left open."""

    fact: Text
    document: Sha256
    by: Text
    left_open: tuple[Text, ...] = ()


class SignatureLine(Page, frozen=True, kw_only=True):
    """An account's signature on a freeze."""

    fact: Text
    freeze: Text
    by: Text


class HandOverLine(Page, frozen=True, kw_only=True):
    """A dossier that went out."""

    fact: Text
    freeze: Text
    dossier: Sha256
    by: Text


class ReplyLine(Page, frozen=True, kw_only=True):
    """What the body answered; ``entered``: the fact by which its approval stands."""

    fact: Text
    answer: Text
    by: Text
    freeze: Text | UnsetType = UNSET
    entered: Text | UnsetType = UNSET
    reference: Text | UnsetType = UNSET
    letter: Sha256 | UnsetType = UNSET


class ChangeLine(Page, frozen=True, kw_only=True):
    """A change that was found after a hand-over, and the fact that says that the body was told."""

    fact: Text
    freeze: Text
    sort: Text
    subject: Text
    shown_by: Text
    reported: Text | UnsetType = UNSET
    letter: Sha256 | UnsetType = UNSET


class ApprovalPage(Page, frozen=True, kw_only=True):
    """An approval file: ``approval.json``.

    ``items`` say how far the checklist is met by what is in the book now; ``freezes`` what was left open when it was
    frozen.  ``announcements`` are all that were made, drawn or not.
    """

    file: Text
    model: Text
    revision: Whole
    core: Text
    body: Text
    classes: tuple[Whole, ...]
    rulebook: Sha256
    checklist: Sha256
    checklist_id: Text
    opened: Text
    by: Text
    state: Text
    reopened: Whole
    frozen: Text | UnsetType = UNSET
    answer: Text | UnsetType = UNSET
    announcements: tuple[AnnouncementLine, ...] = ()
    samples: tuple[SampleLine, ...] = ()
    items: tuple[ItemLine, ...] = ()
    parts: tuple[PartLine, ...] = ()
    freezes: tuple[FreezeLine, ...] = ()
    signatures: tuple[SignatureLine, ...] = ()
    hand_overs: tuple[HandOverLine, ...] = ()
    replies: tuple[ReplyLine, ...] = ()
    changes: tuple[ChangeLine, ...] = ()


def sample_ball(sheet: BallSheet) -> SampleBall:
    """What a ball's sheet says of it as a sample."""
    return SampleBall(
        ball=sheet.unit,
        weight_class=0 if sheet.weight_class is UNSET else sheet.weight_class,
        quantities=frozenset(line.quantity for line in sheet.readings if line.usable),
        unusable=frozenset(line.quantity for line in sheet.readings if not line.usable),
    )


def approval_page(rows: ApprovalRows, checklist: Checklist, balls: Mapping[str, SampleBall], core: str) -> ApprovalPage:
    """The page of a file. ``checklist`` is the one whose digest the file names, ``core`` the model's."""
    file = rows.file
    return ApprovalPage(
        file=file.file,
        model=file.model,
        revision=file.revision,
        core=core,
        body=file.body,
        classes=classes_of(file),
        rulebook=file.rulebook,
        checklist=file.checklist,
        checklist_id=checklist.id,
        opened=file.address,
        by=file.by,
        state=file.state,
        reopened=file.reopened,
        frozen=_or_unset(file.frozen),
        answer=_or_unset(file.answer),
        announcements=tuple(map(_announcement_line, rows.announcements)),
        samples=tuple(map(_sample_line, rows.samples)),
        items=tuple(map(_item_line, approval_states(rows, checklist, balls, core))),
        parts=tuple(_part_lines(rows)),
        **_signed_lines(rows),  # type: ignore[arg-type]  # tuples of the lines by their fields
    )


def _announcement_line(row: ApprovalAnnouncement) -> AnnouncementLine:
    return AnnouncementLine(
        fact=row.announcement,
        lots=tuple(row.lots.split(",")),
        states=tuple(row.states.split(",")),
        grades=tuple(grade for grade in row.grades.split(",") if grade),
        rule=row.rule,
        candidates=row.candidates,
        classes=tuple(
            ClassLine(weight_class=one.weight_class, balls=one.balls, candidates=one.candidates, root=one.root)
            for one in announced_classes(row).values()
        ),
        why=_or_unset(row.why),
        drawn=_or_unset(row.drawn),
        seed=_or_unset(row.seed),
    )


def _sample_line(row: ApprovalSample) -> SampleLine:
    return SampleLine(
        unit=row.unit,
        weight_class=row.weight_class,
        announcement=row.announcement,
        place=row.place,
        state=row.state,
        fact=row.address,
        reason=_or_unset(row.reason),
        out=_or_unset(row.out),
        instead=_or_unset(row.instead),
    )


def _item_line(state: ItemState) -> ItemLine:
    counts = tuple(
        CountLine(
            weight_class=UNSET if one.weight_class is None else one.weight_class,
            wanted=UNSET if one.wanted is None else one.wanted,
            drawn=one.drawn,
            measured=one.measured,
        )
        for one in state.counts
    )
    return ItemLine(
        item=state.item,
        text=state.text,
        met=state.met,
        applies=state.applies,
        counts=counts,
        missing=state.missing,
    )


def _part_lines(rows: ApprovalRows) -> Iterator[PartLine]:
    for row in rows.parts:
        yield PartLine(
            item=row.item,
            sort=row.sort,
            name=row.name,
            fact=row.address,
            stands=row.stands,
            unit=_or_unset(row.unit),
            digest=_or_unset(row.digest),
        )


def _signed_lines(rows: ApprovalRows) -> dict[str, tuple[Page, ...]]:
    return {
        "freezes": tuple(
            FreezeLine(fact=row.freeze, document=row.digest, by=row.by, left_open=left_open(row))
            for row in rows.freezes
        ),
        "signatures": tuple(SignatureLine(fact=row.signature, freeze=row.freeze, by=row.by) for row in rows.signatures),
        "hand_overs": tuple(
            HandOverLine(fact=row.hand_over, freeze=row.freeze, dossier=row.dossier, by=row.by)
            for row in rows.hand_overs
        ),
        "replies": tuple(map(_reply_line, rows.replies)),
        "changes": tuple(map(_change_line, rows.changes)),
    }


def _reply_line(row: ApprovalReply) -> ReplyLine:
    return ReplyLine(
        fact=row.reply,
        answer=row.answer,
        by=row.by,
        freeze=_or_unset(row.freeze),
        entered=_or_unset(row.entered),
        reference=_or_unset(row.reference),
        letter=_or_unset(row.letter),
    )


def _change_line(row: ApprovalChange) -> ChangeLine:
    return ChangeLine(
        fact=row.change,
        freeze=row.freeze,
        sort=row.sort,
        subject=row.subject,
        shown_by=row.fact,
        reported=_or_unset(row.reported),
        letter=_or_unset(row.letter),
    )


def _or_unset(value: str | None) -> str | UnsetType:
    return UNSET if value is None else value
