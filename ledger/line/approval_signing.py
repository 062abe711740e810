"""A file frozen, signed by two people, handed over, and answered by its body.

Each of these rests on the document of the file (`approval_frozen`) and is refused while the file says something else: what
two people signed is what is handed over, to the byte.  Who froze a file does not sign it, and nobody signs twice.  What the
body answered is a report: it is entered whenever it comes, and linked with the approval that follows from it
(``approval-entered``), which alone changes how balls are released.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.approval_files import approval_node, file_need, known_file, open_file
from ledger.line.approval_frozen import frozen_document, frozen_needs
from ledger.line.approval_rows import (
    ApprovalFile,
    ApprovalFreeze,
    ApprovalHandOver,
    ApprovalReply,
    ApprovalSignature,
)
from ledger.line.approval_samples import list_digest
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Address, Digest, Id, Name, Record, Slug, Withheld
from ledger.line.rows import Approval
from ledger.line.state import Need, State

SIGNERS = 2
"""How many people sign before a file is handed over."""

LookedUp = Annotated[
    str,
    Meta(
        pattern=r"^(0|[1-9][0-9]*)?\.(0|[1-9][0-9]*)\Z",
        description="fact address index.position; .position for a record said beside this one",
    ),
]


class ApprovalFileFrozen(Record, frozen=True, kw_only=True, tag="approval-file-frozen"):
    """The file is done: the digest of its document, and the items of the checklist that are left open, all of them."""

    file: Id
    document: Digest
    left_open: Annotated[tuple[Slug, ...], Meta(max_length=100)] = ()


class ApprovalFileSigned(Record, frozen=True, kw_only=True, tag="approval-file-signed"):
    """Its author signs what was frozen at ``freeze``, in the words of `signing_text`."""

    file: Id
    freeze: Address
    says: Annotated[str, Meta(min_length=1, max_length=4000)]


class ApprovalFileHandedOver(Record, frozen=True, kw_only=True, tag="approval-file-handed-over"):
    """A dossier of what was frozen and signed went out: its digest, and to whom."""

    file: Id
    freeze: Address
    dossier: Digest
    to: Withheld


class ApprovalFileAnswered(Record, frozen=True, kw_only=True, tag="approval-file-answered"):
    """What the body answered. ``entered``: the ``approval-entered`` by which it stands; ``reference``: the body's own."""

    file: Id
    answer: Literal["approved", "refused", "more-wanted"]
    entered: LookedUp | UnsetType = UNSET
    reference: Name | UnsetType = UNSET
    letter: Digest | UnsetType = UNSET


def signing_text(file: ApprovalFile, freeze: ApprovalFreeze) -> str:
    """What a person signs: a plain sentence with what was frozen, and what was left open."""
    left = freeze.left_open.replace(",", ", ") or "nothing"
    return (
        f"I looked at approval file {file.file}: model {file.model}, revision {file.revision}, {file.classes} lb, for "
        f"{file.body}, as frozen by fact {freeze.freeze} with SHA-256 {freeze.digest}. To my knowledge what it states is "
        f"what was made and measured. Left open: {left}. This is the maker's own statement, not an approval."
    )


def _frozen_needs(record: ApprovalFileFrozen, state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield from frozen_needs(record.file, state)


def _frozen_check(record: ApprovalFileFrozen, state: State, _setting: Setting) -> list[Breach]:
    open_file(state, record.file)
    if len(set(record.left_open)) != len(record.left_open):
        raise Contradiction("an item is left open twice", where="left_open", mend="name each item once")
    found = list_digest(frozen_document(record.file, state))
    if record.document != found:
        raise RuleStands(
            f"approval file {record.file} says something else by now",
            expected=found,
            got=record.document,
            where="document",
            mend="look at the file again, and freeze it as it stands",
        )
    return []


def _frozen_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileFrozen = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalFreeze(
            freeze=fact.address,
            file=record.file,
            digest=record.document,
            left_open=",".join(record.left_open),
            by=fact.author,
            at_ms=fact.at_ms,
        )
    )
    state.alter(ApprovalFile, record.file, state="frozen", frozen=fact.address)


def _standing_freeze(state: State, file: ApprovalFile, freeze: str, wanted: frozenset[str]) -> ApprovalFreeze:
    """The freeze that is named, while it stands and the file still says what was frozen.

    Raises UnknownSubject, RuleStands.
    """
    row = state.one(ApprovalFreeze, freeze)
    if row is None or row.file != file.file:
        raise UnknownSubject(
            f"fact {freeze} does not freeze approval file {file.file}",
            expected=file.frozen or "no freeze stands",
            where="freeze",
            mend="name the freeze that stands",
        )
    if file.frozen != freeze or file.state not in wanted:
        raise RuleStands(
            f"approval file {file.file} is {file.state}",
            expected=" or ".join(sorted(wanted)),
            got=file.state if file.frozen == freeze else f"frozen by {file.frozen or 'nothing'}",
            where="freeze",
            mend="freeze it, have two people sign it, then hand it over",
        )
    found = list_digest(frozen_document(file.file, state))
    if found != row.digest:
        raise RuleStands(
            f"what approval file {file.file} rests on has changed since fact {freeze} froze it",
            expected=row.digest,
            got=found,
            where="freeze",
            mend="look at what changed on the file, open it again with a reason, and freeze it anew",
        )
    return row


def _signed_needs(record: ApprovalFileSigned, state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalFreeze, "freeze", record.freeze)
    yield Need(ApprovalSignature, "freeze", record.freeze)
    yield from frozen_needs(record.file, state)


def _signed_check(record: ApprovalFileSigned, state: State, setting: Setting) -> list[Breach]:
    file = known_file(state, record.file)
    freeze = _standing_freeze(state, file, record.freeze, frozenset({"frozen", "signed"}))
    if setting.author == freeze.by:
        raise RuleStands(
            "who froze a file does not sign it",
            expected="another account",
            got="the one that froze it",
            where="file",
            mend="have two other people look at it and sign",
        )
    for row in state.where(ApprovalSignature, "freeze", record.freeze):
        if row.by == setting.author:
            raise Contradiction(
                f"this account signed it already, by fact {row.signature}",
                where="file",
                mend="have another person sign",
            )
    text = signing_text(file, freeze)
    if record.says != text:
        raise RuleStands(
            "the words that are signed are others than those of the file",
            expected=text,
            got=record.says,
            where="says",
            mend="sign the words that the file gives (GET /approvals/{file}), unchanged",
        )
    return []


def _signed_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileSigned = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalSignature(
            signature=fact.address, file=record.file, freeze=record.freeze, by=fact.author, at_ms=fact.at_ms
        )
    )
    if len(state.where(ApprovalSignature, "freeze", record.freeze)) >= SIGNERS:
        state.alter(ApprovalFile, record.file, state="signed")


def _handed_needs(record: ApprovalFileHandedOver, state: State) -> Iterator[Need]:
    yield file_need(record.file)
    yield Need(ApprovalFreeze, "freeze", record.freeze)
    yield from frozen_needs(record.file, state)


def _handed_check(record: ApprovalFileHandedOver, state: State, _setting: Setting) -> list[Breach]:
    file = known_file(state, record.file)
    _standing_freeze(state, file, record.freeze, frozenset({"signed", "handed-over", "answered"}))
    return []


def _handed_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileHandedOver = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        ApprovalHandOver(
            hand_over=fact.address,
            file=record.file,
            freeze=record.freeze,
            dossier=record.dossier,
            by=fact.author,
            at_ms=fact.at_ms,
        )
    )
    file = state.held(ApprovalFile, record.file)
    if file is not None and file.state == "signed":
        state.put(msgspec.structs.replace(file, state="handed-over"))


def _entered_at(record: ApprovalFileAnswered, index: int) -> str | None:
    """The address of the approval that is named; one said beside this record stands in its entry."""
    if record.entered is UNSET:
        return None
    return f"{index}{record.entered}" if record.entered.startswith(".") else record.entered


def _answered_needs(record: ApprovalFileAnswered, state: State) -> Iterator[Need]:
    opened = file_need(record.file)
    yield opened
    file = state.one(ApprovalFile, record.file) if state.has(opened) else None
    if file is not None:
        yield Need(Approval, "model", file.model)


def _answered_check(record: ApprovalFileAnswered, state: State, setting: Setting) -> list[Breach]:
    file = known_file(state, record.file)
    _check_entered(record, file, state, setting)
    if file.state in {"handed-over", "answered"}:
        return []
    said = f"{file.body} answered {record.answer} about file {file.file}, which was not handed over by the book"
    mend = "enter the hand-over too, or look which file the answer is about"
    return [
        Breach(code="approval-answer-early", node=approval_node(file.file), said=said, holds=False, mend=mend),
    ]


def _check_entered(record: ApprovalFileAnswered, file: ApprovalFile, state: State, setting: Setting) -> None:
    address = _entered_at(record, setting.index)
    if address is None:
        if record.answer == "approved":
            raise RuleStands(
                "an approval rests on the fact that enters it",
                expected="entered",
                got="none",
                where="entered",
                mend="say approval-entered with the body's words, and name it here",
            )
        return
    row = next((one for one in state.where(Approval, "model", file.model) if one.approval == address), None)
    if row is None:
        raise UnknownSubject(
            f"fact {address} enters no approval of model {file.model}",
            where="entered",
            mend="say approval-entered in the same submission before this, or name the fact that did",
        )
    status = {"approved": "approved", "refused": "refused"}.get(record.answer)
    told = row.body, row.revision, row.status
    if told != (file.body, file.revision, status):
        raise Contradiction(
            f"fact {address} enters another answer",
            expected=f"{file.body}, revision {file.revision}, {status or 'none for this answer'}",
            got=f"{row.body}, revision {row.revision}, {row.status}",
            where="entered",
            mend="name the approval that the body gave on this file",
        )


def _answered_effects(fact: Fact, state: State) -> None:
    record: ApprovalFileAnswered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    file = state.held(ApprovalFile, record.file)
    if file is None:
        return
    state.put(
        ApprovalReply(
            reply=fact.address,
            file=record.file,
            freeze=file.frozen,
            answer=record.answer,
            entered=_entered_at(record, fact.index),
            reference=None if record.reference is UNSET else record.reference,
            letter=None if record.letter is UNSET else record.letter,
            by=fact.author,
            at_ms=fact.at_ms,
        )
    )
    now = "answered" if file.state == "handed-over" else file.state
    state.put(msgspec.structs.replace(file, state=now, answer=record.answer))


def _about(
    record: ApprovalFileFrozen | ApprovalFileSigned | ApprovalFileHandedOver | ApprovalFileAnswered,
) -> list[str]:
    return [approval_node(record.file)]


KINDS = (
    Kind(ApprovalFileFrozen, "decision", _frozen_needs, _frozen_check, _frozen_effects, _about),
    Kind(ApprovalFileSigned, "decision", _signed_needs, _signed_check, _signed_effects, _about),
    Kind(ApprovalFileHandedOver, "decision", _handed_needs, _handed_check, _handed_effects, _about),
    Kind(ApprovalFileAnswered, "report", _answered_needs, _answered_check, _answered_effects, _about),
)
