"""The letter that answers a claimant: plain, one page, in the plant's name.

It says the decision, its reason in words, what was examined, what happens next, and the number of the ball; it names no
other customer, no recipe and no lot, and admits nothing beyond the decision.  The wording is common practice, no source: a
plant has it read by whoever answers for its letters.  English is the one language so far (`LANGUAGES`).
"""

from __future__ import annotations

import datetime as dt
from typing import Literal

import msgspec

from ledger.warranty.letter import Letter

Language = Literal["en"]
LANGUAGES: tuple[Language, ...] = ("en",)

ANSWERED = frozenset({"accept", "reject", "goodwill", "waiting", "sent-back"})
"""The states of a claim in which a letter answers it."""

REASONS_TOLD: dict[str, str] = {
    "fault-found": "a fault of ours was found on the ball",
    "in-term": "the ball is within its warranty term, which covers this fault",
    "known-fault": "our records of the ball bear out what you told us",
    "out-of-term": "the warranty term of the ball is over",
    "not-covered": "the warranty terms do not cover this",
    "misuse": "the damage comes from use or handling",
    "drilled-wrongly": "the damage comes from the drilling, or from what was fitted into the holes",
    "stored-hot": "the damage comes from storage that was too hot or too cold",
    "worn": "what you describe is ordinary wear",
    "no-fault-found": "no fault of manufacture was found",
    "not-our-ball": "the ball is not one that we made",
    "claimed-before": "a claim for this fault of the ball was settled before",
    "no-answer": "what we asked you for has not reached us",
    "goodwill": "we want you to be able to go on using our products",
    "proof-missing": "a proof of purchase: the receipt, or the name of the dealer and the day",
    "photo-missing": "photos of the fault, and one of the whole ball",
    "number-missing": "the number that is engraved on the ball, or a sharp photo of it",
    "examine-at-maker": "we want to see the fault for ourselves",
}
"""Each reason as a claimant reads it; a reason that is not here is not told."""

CAUTION = (
    "The wording of a letter made here is common practice, no source: have it read by whoever answers for your letters before "
    "it goes."
)

_RIGHTS = "Your rights under the law of your country are not touched by this letter."


class LetterFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What a letter is made from. ``number``: that of the ball, empty where none is known; ``findings``: words.

    ``term``: how the term was worked out, told where it is the reason. ``due_on``: until when the claimant is asked for
    something. ``replacement``: the number of the ball that took the place of the claimed one, with ``fresh``.
    """

    plant: str
    to: tuple[str, ...]
    on: dt.date
    claim: str
    opened_on: dt.date
    number: str
    model_name: str
    mode_words: str
    state: str
    reason: str
    findings: tuple[str, ...] = ()
    files: int = 0
    term: tuple[str, ...] = ()
    due_on: dt.date | None = None
    replacement: str = ""
    fresh: bool = True
    old_ball: str = ""


def claim_letter(facts: LetterFacts) -> Letter:
    """The letter of a claim that is decided, or that waits for the claimant or the ball."""
    ball = f"ball {facts.number}" if facts.number else "your ball"
    paragraphs = (
        "Dear customer,",
        _opening(facts, ball),
        _decision(facts),
        _examined(facts),
        *_next(facts),
        _RIGHTS,
    )
    return Letter(
        sender=(facts.plant, "Warranty desk"),
        to=facts.to or ("To the claimant",),
        on=facts.on,
        reference=f"Claim {facts.claim}",
        subject=f"Your claim {facts.claim}: {ball}",
        paragraphs=tuple(paragraph for paragraph in paragraphs if paragraph),
        closing=("Yours faithfully,", "", f"{facts.plant}, warranty desk"),
    )


def _opening(facts: LetterFacts, ball: str) -> str:
    model = f" ({facts.model_name})" if facts.model_name else ""
    return (
        f"Thank you for telling us about {ball}{model}. On {facts.opened_on} we took your claim as {facts.claim}, "
        f"for this fault: {facts.mode_words}."
    )


_DECIDED = {
    "accept": "We accept your claim",
    "reject": "We cannot accept your claim",
    "goodwill": "We settle your claim as a gesture of goodwill",
}


def _decision(facts: LetterFacts) -> str:
    told = REASONS_TOLD.get(facts.reason, "")
    if facts.state == "waiting":
        return f"Before we can decide we need from you: {told or 'what we agreed on'}."
    if facts.state == "sent-back":
        return f"Before we can decide we ask you to send us the ball{f', since {told}' if told else ''}."
    said = f"{_DECIDED[facts.state]}{f': {told}' if told else ''}."
    if facts.reason in {"out-of-term", "not-covered"} and facts.term:
        said += f" By our records: {'; '.join(facts.term)}."
    if facts.state == "goodwill":
        said += " We do so of our own free will; it does not say that the fault is of our making."
    return said


def _examined(facts: LetterFacts) -> str:
    files = f" and the {facts.files} {'file' if facts.files == 1 else 'files'} that came with it" if facts.files else ""
    if facts.findings:
        return f"We examined what you sent us. We found: {', '.join(facts.findings)}."
    if facts.state in _DECIDED:
        return f"We decided by what you told us{files} and by our own records; the ball itself was not examined."
    return f"So far we have looked at what you told us{files}, and at our own records."


def _next(facts: LetterFacts) -> tuple[str, ...]:
    """What happens now."""
    by = f" by {facts.due_on}" if facts.due_on is not None else ""
    if facts.state == "waiting":
        return (f"Please send it to us{by}, and name claim {facts.claim}. We go on as soon as we have it.",)
    if facts.state == "sent-back":
        asked = f"Please send the ball to us{by}, packed well, with claim {facts.claim} on the parcel."
        return (f"{asked} Please change nothing on it before; we write to you when we have examined it.",)
    if facts.state == "reject":
        again = f"write to us and name claim {facts.claim}: we shall look at it again."
        return (f"With this the claim is closed. If there is something that we did not know, {again}",)
    if not facts.replacement:
        return ("We shall write to you about how the claim is settled. There is nothing that you need to do now.",)
    term = (
        "a fresh warranty term from the day of the replacement"
        if facts.fresh
        else "what remains of the term of the old one"
    )
    return (f"Ball {facts.replacement} takes its place, with {term}.", _OLD_BALL.get(facts.old_ball, ""))


_OLD_BALL = {
    "destroyed": "The old ball was destroyed, and must not be used any more.",
    "kept": "You may keep the old ball; it is no longer under warranty.",
    "returned": "The old ball has come back to us.",
    "retained": "We keep the old ball for our records.",
}
