"""The view rows of containment: consignees, cases, the holds and letters of a case, and what dealers answered."""

from __future__ import annotations

from ledger.line.rows import Row


class Consignee(Row, frozen=True, kw_only=True):
    """Who balls are sent to. Name and address stand sealed in the entry of the fact at ``address``."""

    consignee: str
    market: str
    language: str | None
    address: str


class Case(Row, frozen=True, kw_only=True):
    """A suspicion that is followed up. ``suspect``: canonical JSON of a `Suspect`. ``action``: none, stop-sale or recall.

    ``decision`` is None while it is open; ``unaccounted``: how many balls it was closed without knowing of.
    """

    case: str
    why: str
    reason: str
    suspect: str
    action: str
    opened_ms: int
    open: bool
    address: str
    decision: str | None = None
    unaccounted: int | None = None


class CaseHold(Row, frozen=True, kw_only=True):
    """A hold was placed for a case."""

    case_hold: str
    case: str
    hold: str


class CaseNotice(Row, frozen=True, kw_only=True):
    """A letter went to a consignee: its digest, and how many balls it names."""

    notice: str
    case: str
    consignee: str
    action: str
    letter: str
    balls: int
    at_ms: int


class CaseAnswer(Row, frozen=True, kw_only=True):
    """The newest that a consignee said of one ball, by its unit, or by the serial where no unit was named."""

    answer: str
    case: str
    consignee: str
    unit: str | None
    serial: str | None
    said: str
    to: str | None
    at_ms: int
    address: str
