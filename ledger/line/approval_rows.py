"""The view rows of approval files: what is applied for, which balls were drawn, what was answered, signed and sent.

All of a file belong to one node, ``approval:ID``.  Nothing is taken out of them: a replaced sample, an answer that a later
one took the place of, a signature under what was frozen before, all stay and say so.
"""

from __future__ import annotations

from ledger.line.rows import Row


class ApprovalFile(Row, frozen=True, kw_only=True):
    """One approval file. ``classes``: nominal pounds, a comma list, ascending.

    ``state``: open, frozen, signed, handed-over, answered, withdrawn.  ``frozen``: the freeze that stands, if one does.
    ``answer``: what the body answered last.  ``by``: who opened it; ``reopened``: how often it was opened again.
    """

    file: str
    model: str
    revision: int
    body: str
    classes: str
    rulebook: str
    checklist: str
    opened_ms: int
    state: str
    by: str
    address: str
    frozen: str | None = None
    answer: str | None = None
    reopened: int = 0


class ApprovalAnnouncement(Row, frozen=True, kw_only=True):
    """Samples announced before they were drawn: from which lots, states and grades, how many, out of which candidates.

    ``lots``, ``states`` and ``grades``: comma lists as said; no grade is any.  ``candidates``: digest of the list of candidates.  ``classes``: canonical
    JSON, ``[[class, balls, candidates, root] ...]``.  ``drawn``: the fact that states the draw, ``seed`` what it drew by.
    """

    announcement: str
    file: str
    lots: str
    states: str
    grades: str
    rule: str
    candidates: str
    classes: str
    why: str | None
    at_ms: int
    by: str
    drawn: str | None = None
    seed: str | None = None


class ApprovalSample(Row, frozen=True, kw_only=True):
    """A ball that the draw gave a file. ``state``: in, replaced, passed-over.

    ``place``: its place in the order of the draw within its class, from 0; ``reason`` and ``out``: why and by which fact it
    is no sample any more, ``instead`` the ball that took its place.
    """

    sample: str
    file: str
    unit: str
    weight_class: int
    announcement: str
    place: int
    state: str
    address: str
    reason: str | None = None
    out: str | None = None
    instead: str | None = None


class ApprovalPart(Row, frozen=True, kw_only=True):
    """Something that answers an item of the checklist. ``sort``: document, photo, field, statement.

    A value of the data sheet and the words of a statement are sealed, and stand in the entry alone.  ``stands`` is false
    once a later part of the same item, sort, name and ball has taken its place.
    """

    part: str
    file: str
    item: str
    sort: str
    name: str
    unit: str | None
    digest: str | None
    stands: bool
    by: str
    at_ms: int
    address: str


class ApprovalFreeze(Row, frozen=True, kw_only=True):
    """A file was frozen: the digest of what it said then (`approval_frozen`), and the items left open, a comma list."""

    freeze: str
    file: str
    digest: str
    left_open: str
    by: str
    at_ms: int


class ApprovalSignature(Row, frozen=True, kw_only=True):
    """A person signed what was frozen at ``freeze``."""

    signature: str
    file: str
    freeze: str
    by: str
    at_ms: int


class ApprovalHandOver(Row, frozen=True, kw_only=True):
    """A dossier, named by its digest, was handed over with what was frozen at ``freeze``."""

    hand_over: str
    file: str
    freeze: str
    dossier: str
    by: str
    at_ms: int


class ApprovalReply(Row, frozen=True, kw_only=True):
    """The body answered: approved, refused, more-wanted. ``entered``: the fact by which its approval stands."""

    reply: str
    file: str
    freeze: str | None
    answer: str
    entered: str | None
    reference: str | None
    letter: str | None
    by: str
    at_ms: int


class ApprovalChange(Row, frozen=True, kw_only=True):
    """Something that a file rests on is another since it was frozen at ``freeze``; ``reported``: the fact that says so.

    ``sort``: model, plan, corrected, material, proportion, gauge, other.  ``subject``: what is another, ``fact`` the one
    that shows it.
    """

    change: str
    file: str
    freeze: str
    sort: str
    subject: str
    fact: str
    found_ms: int
    by: str
    reported: str | None = None
    letter: str | None = None
