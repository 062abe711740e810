"""Answering a claimant by letter: the letter is made, stored beside the book, and said to have gone.

The file is durable before the entry that names it.  The same key gives the same entry again, whatever was said of the claim
since.
"""

from __future__ import annotations

from concurrent.futures import Future
from typing import Any, NamedTuple

from msgspec import UNSET

from ledger.access.roles import check_may_say
from ledger.access.tokens import Account
from ledger.application.ball_view import BallFound
from ledger.application.claim_days import day_at, opened_on
from ledger.application.claim_view import ClaimView, claim_view
from ledger.application.pourbook import Pourbook
from ledger.application.said_before import entered_before, said_before
from ledger.application.warranty_desk import claim_answer, known_claim
from ledger.book.instant import Instant, format_instant
from ledger.errors import KeyReused, RuleStands
from ledger.evidence.letter import letter_pdf
from ledger.line.claim_rows import Claim
from ledger.line.claims import STATE_WORDS, ClaimExamined, ClaimReplied
from ledger.line.record import Record
from ledger.line.rows import FactRow, Model
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.blobs import put_blob
from ledger.store.bodies import decode_said
from ledger.store.openings import openings_between
from ledger.store.reader import Reader, open_reader
from ledger.warranty.claim_letter import ANSWERED, Language, LetterFacts, claim_letter

PDF = "application/pdf"


class LetterAsked(NamedTuple):
    """A letter about a claim: ``to`` are the lines of the address; none takes the claimant as the claim has him."""

    claim: str
    to: tuple[str, ...] = ()
    language: Language = "en"


class Written(NamedTuple):
    """The digest of a letter, and a future that gives the entry (`Entered`) that says so."""

    letter: str
    entered: Any


def send_letter(book: Pourbook, asked: LetterAsked, key: str, account: Account, future: Any = None) -> Written:
    """Write, store and say the letter of a claim; the same key gives the same letter and entry again.

    Raises NotFound, RuleStands for a claim that is not decided and waits for nobody, KeyReused, Forbidden.
    """
    check_may_say(account.roles, "claim-replied")
    with open_reader(book.store) as reader:
        known_claim(reader, asked.claim)
        before = said_before(reader, account.account, key, lambda records: _is_of(records, asked.claim))
        index = reader.requested(account.account, key)
        if before and index is not None:
            _check_address(reader, asked, index, key)
        raw, to = (b"", ()) if before else _letter(reader, asked, book.clock_ms())
    if before and index is not None:
        answered: Future[Entered] = Future()
        answered.set_result(entered_before(book.store, index, book.receipt(index)))
        return Written(_digest(before), answered)
    letter = put_blob(book.store, raw, PDF).digest
    at = format_instant(Instant(book.clock_ms(), 0))
    record = ClaimReplied(at=at, claim=asked.claim, letter=letter, to="\n".join(to) if to else UNSET)
    return Written(letter, book.submit(Submission(key=key, records=(record,)), account, future))


def _is_of(records: tuple[Record, ...], claim: str) -> bool:
    return len(records) == 1 and isinstance(records[0], ClaimReplied) and records[0].claim == claim


def _check_address(reader: Reader, asked: LetterAsked, index: int, key: str) -> None:
    """Raise KeyReused where the letter under a key went to another address, as far as that was not erased."""
    told = {one.opening.path: one.opening.value for one in openings_between(reader.transaction, index, index + 1)}
    if asked.to and told.get("0/to", "\n".join(asked.to)) != "\n".join(asked.to):
        raise KeyReused(
            f"key {key} was used for a letter to another address, in entry {index}",
            where="Idempotency-Key",
            mend="use a new key for each letter",
        )


def _digest(records: tuple[Record, ...]) -> str:
    return next(record.letter for record in records if isinstance(record, ClaimReplied))


def _letter(reader: Reader, asked: LetterAsked, now_ms: int) -> tuple[bytes, tuple[str, ...]]:
    """The letter as PDF, and to whom it goes."""
    row = known_claim(reader, asked.claim)
    if row.state not in ANSWERED:
        raise RuleStands(
            f"claim {row.claim} is neither decided nor waiting",
            expected="a claim that is decided, or waits for the claimant or the ball",
            got=STATE_WORDS[row.state],
            where="claim",
            mend="decide it first (claim-decided), or ask for more",
        )
    to = asked.to or claimant_lines(reader, row)
    facts = letter_facts(reader, row, to, now_ms)
    return letter_pdf(claim_letter(facts)), to


def letter_facts(reader: Reader, row: Claim, to: tuple[str, ...], now_ms: int) -> LetterFacts:
    """What the letter of a claim is made from."""
    view = claim_view(reader, row.claim, now_ms)
    ball = view.balls[0] if len(view.balls) == 1 else None
    replacement = view.replacement
    return LetterFacts(
        plant=plant_name(reader),
        to=to,
        on=day_at(row, now_ms),
        claim=row.claim,
        opened_on=opened_on(row),
        number=_number(view, ball),
        model_name=_model_name(reader, ball),
        mode_words=view.mode_words,
        state=row.state,
        reason=row.reason or "",
        findings=_findings(reader, row),
        files=sum(one.what != "reply" for one in view.evidence),
        term=_term(reader, row, ball),
        due_on=None if view.due is None else view.due.on,
        replacement="" if replacement is None else replacement.serial or "",
        fresh=replacement is None or replacement.term == "fresh",
        old_ball="" if replacement is None else replacement.old_ball,
    )


def _number(view: ClaimView, ball: BallFound | None) -> str:
    return view.serial or (ball.serial if ball is not None and ball.serial is not None else "")


def _model_name(reader: Reader, ball: BallFound | None) -> str:
    model = None if ball is None or ball.model is None else reader.one(Model, ball.model)
    return "" if model is None else model.name


def _findings(reader: Reader, row: Claim) -> tuple[str, ...]:
    """What was found last, in words."""
    fact = None if row.examined is None else reader.fact(row.examined)
    if fact is None or not isinstance(fact.record, ClaimExamined):
        return ()
    return tuple(finding.replace("-", " ") for finding in fact.record.findings)


def _term(reader: Reader, row: Claim, ball: BallFound | None) -> tuple[str, ...]:
    if ball is None or row.reason not in {"out-of-term", "not-covered"}:
        return ()
    return claim_answer(reader, row.claim).answer.balls[0].term.reasons


def plant_name(reader: Reader) -> str:
    """The name of the plant, as entry 0 states it."""
    return str(decode_said(reader.entry(0).bytes).said["records"][0]["plant"])


def claimant_lines(reader: Reader, row: Claim) -> tuple[str, ...]:
    """Who claims, and how to reach him, as the opening of the claim says it and as far as it was not erased."""
    fact = reader.one(FactRow, row.address)
    if fact is None:
        return ()
    entry, path = fact.index, f"{fact.position}"
    if fact.body:
        said, record, change = fact.body.split(".")
        entry, path = int(said), f"{record}/changes/{change}/replacement"
    told = {one.opening.path: one.opening.value for one in openings_between(reader.transaction, entry, entry + 1)}
    lines = [told.get(f"{path}/{name}") for name in ("claimant", "contact")]
    return tuple(part for line in lines if isinstance(line, str) for part in line.splitlines() if part.strip())
