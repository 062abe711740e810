"""The view rows of the warranty desk: claims, their evidence, replacements, the plant's own failure modes and its terms."""

from __future__ import annotations

from ledger.line.rows import Row


class Claim(Row, frozen=True, kw_only=True):
    """One warranty claim, by the serial or the unit that it names; which ball bears the serial is asked of the serials.

    ``state``: open, examined, waiting (more is needed of the claimant), sent-back (to be examined at the maker's), or as
    it was decided: accept, reject, goodwill.  ``due_on``: the date by which the next answer is due, None once decided.
    ``address`` is the fact that opened it, ``examined`` the last one that said what was found, ``decided`` the last one
    that decided anything; ``reason`` is that decision's.  ``offset_min``: the offset from UTC in which it was opened, by
    which its days are told.
    """

    claim: str
    serial: str | None
    unit: str | None
    mode: str
    opened_ms: int
    bought_on: str | None
    state: str
    replacement: str | None
    due_on: str | None = None
    keep_until: str | None = None
    via: str | None = None
    market: str | None = None
    imported: bool = False
    proof: str | None = None
    drilled_on: str | None = None
    reason: str | None = None
    examined: str | None = None
    decided: str | None = None
    address: str = ""
    offset_min: int = 0


class ClaimEvidence(Row, frozen=True, kw_only=True):
    """A file that a claim rests on, or a letter that answered it.

    ``digest`` is that of its bytes; ``what``: photo, receipt, letter, drilling-sheet, other, or ``reply`` for a letter of
    the desk's own.  ``evidence`` is the address of the fact that names it and its place there, as in ``12.0.1``.
    """

    evidence: str
    claim: str
    digest: str
    what: str
    address: str


class Replacement(Row, frozen=True, kw_only=True):
    """Ball ``unit`` took the place of the claimed one, which ``old_unit`` or ``old_serial`` names as the claim does.

    ``term``: fresh, or what remained of the old ball's; ``old_ball``: what became of that.  ``offset_min``: the offset from
    UTC in which it was told.
    """

    claim: str
    unit: str
    old_unit: str | None
    old_serial: str | None
    term: str
    old_ball: str
    replaced_ms: int
    address: str
    offset_min: int = 0


class FailureMode(Row, frozen=True, kw_only=True):
    """A failure mode of the plant's own, beside the trade's; ``words`` are what people read."""

    mode: str
    words: str
    address: str


class WarrantyTermsRow(Row, frozen=True, kw_only=True):
    """Warranty terms that the plant adopted, by digest of their file."""

    terms: str
    digest: str
    adopted_ms: int
    superseded: bool
