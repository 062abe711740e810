"""What the views know of a ball that someone asks the desk about: plain records, filled by the caller.

``facts`` are always the addresses of the facts that show what is said.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal

import msgspec

from ledger.tracing.parts import Certainty

RemarkSort = Literal["breach", "hold open", "hold lifted", "concession", "late", "doubtful", "case open", "case closed"]
ClaimLink = Literal["same ball", "same fault", "later", "replacement"]


class Remark(msgspec.Struct, frozen=True, kw_only=True):
    """Something on record about a ball or a lot."""

    sort: RemarkSort
    said: str
    facts: tuple[str, ...] = ()


class Cure(msgspec.Struct, frozen=True, kw_only=True):
    """How long a stage of the plan lasted, and its window, in elapsed seconds, both ends inclusive."""

    stage: str
    lasted_s: int
    min_s: int
    max_s: int | None = None
    facts: tuple[str, ...] = ()


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """A figure of the ball, or of a lot of it, with those of its like: whole parts of ``unit``, ``parts`` to one.

    ``among`` says in words who the others are.
    """

    what: str
    unit: str
    value: int
    parts: int = 1
    others: tuple[int, ...] = ()
    among: str = ""
    facts: tuple[str, ...] = ()


class SisterClaims(msgspec.Struct, frozen=True, kw_only=True):
    """Claims against other balls that hold, or may hold, something of a lot, among ``balls`` such balls.

    ``rejected``: how many of the claims were rejected.
    """

    claims: int
    balls: int
    rejected: int = 0
    facts: tuple[str, ...] = ()


class LotRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A lot that the ball descends from, and what is on record about it."""

    lot: str
    stage: str
    certainty: Certainty
    remarks: tuple[Remark, ...] = ()
    cures: tuple[Cure, ...] = ()
    figures: tuple[Figure, ...] = ()
    sisters: SisterClaims | None = None


class EarlierClaim(msgspec.Struct, frozen=True, kw_only=True):
    """Another claim that has to do with the ball: an earlier one on it for another fault or the same, a later one, or the
    one by which it came as a replacement. It is possible where it names a number that other balls bear or bore too.
    """

    claim: str
    mode: str
    state: str
    link: ClaimLink = "same ball"
    certainty: Certainty = "certain"
    facts: tuple[str, ...] = ()


class OldBall(msgspec.Struct, frozen=True, kw_only=True):
    """The ball whose remaining term a replacement carries on, as far as it is known."""

    number: str
    model: str = ""
    made_on: dt.date | None = None
    shipped_on: dt.date | None = None
    bought_on: dt.date | None = None
    grade: str | None = None


class Replaced(msgspec.Struct, frozen=True, kw_only=True):
    """By which claim, and when, the ball came as a replacement. ``old``: whose term goes on; None for a fresh one."""

    claim: str
    on: dt.date
    old: OldBall | None = None
    facts: tuple[str, ...] = ()


class BallRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One ball that bears or bore the number asked about, as the views have it."""

    unit: str
    serial: str | None
    model: str
    model_name: str
    made_on: dt.date | None
    shipped_on: dt.date | None = None
    weight_class: int | None = None
    state: str = ""
    grade: str | None = None
    made_before: str = ""
    """That it was made before the book, and what says so; empty for a ball of the book."""
    facts: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()
    cures: tuple[Cure, ...] = ()
    figures: tuple[Figure, ...] = ()
    lots: tuple[LotRecord, ...] = ()
    claims: tuple[EarlierClaim, ...] = ()
    replaced: Replaced | None = None
