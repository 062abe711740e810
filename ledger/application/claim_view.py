"""One claim whole: what was said of it in order, the ball or balls that it may be, its links, files, and what comes next.

Nothing erasable is in it: who claims and the notes are `claim_people`, for those who answer him.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import msgspec
from msgspec import UNSET

from ledger.application.ball_view import BallFound, find_units
from ledger.application.claim_days import replaced_on
from ledger.application.claim_facts import ClaimFact, claim_facts
from ledger.application.claim_list import Dues
from ledger.application.histories import instant_text
from ledger.application.linked_claims import came_as_replacement, claims_on_ball, claims_on_number
from ledger.application.warranty_desk import known_claim, mode_words
from ledger.conformity.from_rows import day_of
from ledger.duties.retention import kept_of
from ledger.line.claim_rows import Claim, ClaimEvidence, Replacement
from ledger.line.claims import FINAL, STATE_WORDS, ClaimOpened
from ledger.line.fact import parse_address
from ledger.line.rows import Lot, Unit
from ledger.store.blobs import blob_ends, erased_blobs
from ledger.store.reader import Reader
from ledger.warranty.ball_record import EarlierClaim
from ledger.warranty.deadlines import Due

FileStanding = Literal["stored", "erased", "not stored"]


class FileSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A file of a claim: what it shows, by which fact it came, and whether its bytes are here. ``erased_by``: a fact."""

    digest: str
    what: str
    fact: str
    file: FileStanding
    erased_by: str = ""


class KeptSeen(msgspec.Struct, frozen=True, kw_only=True):
    """Fields of an entry about a claim that say something of people and can still be opened, by their paths."""

    entry: int
    fields: tuple[str, ...]


class ReplacementSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The ball that took the place of the claimed one, its term, and what became of the old one."""

    unit: str
    serial: str | None
    term: str
    old_ball: str
    on: str
    fact: str


class NextStep(msgspec.Struct, frozen=True, kw_only=True):
    """What may be done next: a record's kind, or ``letter``, and in words."""

    step: str
    words: str


class ClaimView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One claim. ``balls``: the ball that it names, or every ball that bears or bore the number that it names.

    ``linked``: claims on the same ball, or on the same number where no ball bears it, and the one by which the ball came as
    a replacement; ``replacement_claims``: those on the ball that took its place.  ``drilled_on``, ``layout``, ``fitted`` and
    ``stored`` are what the claimant says.  ``kept``: what of people is still kept of it, as an erasure names it; that, its
    files with the letters among them, and ``imported_from`` are what whoever asks to be forgotten has erased.
    """

    claim: str
    mode: str
    mode_words: str
    state: str
    state_words: str
    opened_at: str
    next: tuple[NextStep, ...]
    facts: tuple[ClaimFact, ...]
    serial: str | None = None
    unit: str | None = None
    balls: tuple[BallFound, ...] = ()
    bought_on: str | None = None
    proof: str | None = None
    drilled_on: str | None = None
    layout: str | None = None
    fitted: str | None = None
    stored: str | None = None
    market: str | None = None
    via: str | None = None
    reason: str | None = None
    due: Due | None = None
    keep_until: str | None = None
    imported: bool = False
    imported_from: FileSeen | None = None
    evidence: tuple[FileSeen, ...] = ()
    kept: tuple[KeptSeen, ...] = ()
    linked: tuple[EarlierClaim, ...] = ()
    replacement: ReplacementSeen | None = None
    replacement_claims: tuple[EarlierClaim, ...] = ()


def claim_view(reader: Reader, claim: str, now_ms: int) -> ClaimView:
    """One claim whole. Raises NotFound."""
    row = known_claim(reader, claim)
    record = _opened(reader, row)
    balls = claimed_balls(reader, row)
    replacement = _replacement(reader, row)
    files: list[ClaimEvidence] = reader.rows(ClaimEvidence, "claim", claim)
    return ClaimView(
        claim=row.claim,
        mode=row.mode,
        mode_words=mode_words(reader, row.mode),
        state=row.state,
        state_words=STATE_WORDS[row.state],
        opened_at=instant_text(row.opened_ms),
        next=_next(row, files),
        facts=claim_facts(reader, claim),
        serial=row.serial,
        unit=row.unit,
        balls=balls,
        bought_on=row.bought_on,
        proof=row.proof,
        drilled_on=row.drilled_on,
        **_said_at_first(record),
        market=row.market,
        via=row.via,
        reason=row.reason,
        due=Dues(reader, now_ms).of([row]).get(claim),
        keep_until=row.keep_until,
        imported=row.imported,
        imported_from=_source(reader, row, record),
        evidence=_files(reader, files),
        kept=tuple(KeptSeen(entry=entry, fields=fields) for entry, fields in kept_of(reader, claim).items()),
        linked=_linked(reader, row, balls),
        replacement=replacement,
        replacement_claims=() if replacement is None else claims_on_ball(reader, replacement.unit, row),
    )


def _opened(reader: Reader, row: Claim) -> ClaimOpened | None:
    fact = reader.fact(row.address)
    return fact.record if fact is not None and isinstance(fact.record, ClaimOpened) else None


def _source(reader: Reader, row: Claim, record: ClaimOpened | None) -> FileSeen | None:
    """The file that a claim was imported from."""
    if record is None or record.imported is UNSET:
        return None
    named = ClaimEvidence(
        evidence=f"{row.address}.0", claim=row.claim, digest=record.imported.file, what="import", address=row.address
    )
    return _files(reader, [named])[0]


def _said_at_first(record: ClaimOpened | None) -> dict[str, Any]:
    """What the opening says that no row keeps."""
    if record is None:
        return {}
    said: dict[str, Any] = {"stored": record.stored}
    if record.drilled is not UNSET:
        said |= {"layout": record.drilled.layout, "fitted": record.drilled.fitted}
    return {name: value for name, value in said.items() if value is not UNSET}


def claimed_balls(reader: Reader, row: Claim) -> tuple[BallFound, ...]:
    """The ball that a claim names, or every ball that bears or bore its number."""
    if row.unit is None:
        return () if row.serial is None else find_units(reader, row.serial)
    unit = reader.one(Unit, row.unit)
    if unit is None:
        return ()
    lot = reader.one(Lot, unit.lot)
    return (
        BallFound(
            unit=unit.unit,
            serial=unit.serial,
            model=None if lot is None else lot.model,
            weight_class_lb=unit.weight_class,
            made_on=day_of(unit.engraved_ms or unit.began_ms).isoformat(),
            state=unit.state,
            bears_it_now=row.serial in {None, unit.serial},
        ),
    )


def _linked(reader: Reader, row: Claim, balls: Sequence[BallFound]) -> tuple[EarlierClaim, ...]:
    found = {} if balls else {one.claim: one for one in claims_on_number(reader, row)}
    for ball in balls:
        for one in claims_on_ball(reader, ball.unit, row, row.mode):
            found.setdefault(one.claim, one)
        _, by_claim = came_as_replacement(reader, ball.unit)
        if by_claim is not None:
            found[by_claim.claim] = by_claim
    return tuple(found.values())


def _replacement(reader: Reader, row: Claim) -> ReplacementSeen | None:
    found = reader.one(Replacement, row.claim)
    if found is None:
        return None
    unit = reader.one(Unit, found.unit)
    return ReplacementSeen(
        unit=found.unit,
        serial=None if unit is None else unit.serial,
        term=found.term,
        old_ball=found.old_ball,
        on=replaced_on(found).isoformat(),
        fact=found.address,
    )


def _files(reader: Reader, rows: Sequence[ClaimEvidence]) -> tuple[FileSeen, ...]:
    digests = [row.digest for row in rows]
    stored = blob_ends(reader.transaction, digests)
    erased = erased_blobs(reader.transaction, digests)
    ordered = sorted(rows, key=lambda row: tuple(map(int, row.evidence.split("."))))
    return tuple(
        FileSeen(
            digest=row.digest,
            what=row.what,
            fact=row.address,
            file="erased" if row.digest in erased else "stored" if row.digest in stored else "not stored",
            erased_by=erased[row.digest].address if row.digest in erased else "",
        )
        for row in ordered
    )


_EXAMINE = NextStep(step="claim-examined", words="say what was found on the ball or its photos")
_DECIDE = NextStep(step="claim-decided", words="accept, reject, goodwill, need-more or send-back, for a reason")
_REPLACE = NextStep(step="claim-replaced", words="name the ball that took its place, and what became of the old one")
_LETTER = NextStep(step="letter", words="answer the claimant by letter")


def _next(row: Claim, files: Sequence[ClaimEvidence]) -> tuple[NextStep, ...]:
    """What may be done next; the letter while none was written since the last decision."""
    letter = () if row.decided is None or _is_answered(row, files) else (_LETTER,)
    if row.state not in FINAL:
        return (_EXAMINE, _DECIDE, *letter)
    replace = (_REPLACE,) if row.state in {"accept", "goodwill"} and row.replacement is None else ()
    return (*letter, *replace)


def _is_answered(row: Claim, files: Sequence[ClaimEvidence]) -> bool:
    letters = [parse_address(file.address) for file in files if file.what == "reply"]
    return row.decided is not None and any(letter > parse_address(row.decided) for letter in letters)
