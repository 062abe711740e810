"""The letters of a case to a consignee: a stop of sale, or a recall, each worded for what it asks.

The wording is common practice, no source, and a draft until licensed counsel has read it (`CAUTION`). It cites no law: what
the law asks of a recall differs from place to place.  English is the one language so far.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal, NamedTuple

from ledger.warranty.letter import Letter

CAUTION = (
    "A letter made here is a draft: have licensed counsel read it before it goes, and follow the law on recalls, and on "
    "telling the authorities, of each place where the balls are."
)

COLUMNS = ("Serial", "Model", "Weight", "Shipment", "Sent on", "Your answer")

_ASKS = {
    "stop-sale": (
        "What to do now: stop selling and handing out the balls of the list. Keep those that you have apart from all others, "
        "marked, until you hear from us again. Do not send them back yet, and do not destroy any. Balls that were sold "
        "already are not called back by this letter."
    ),
    "recall": (
        "What to do now: stop selling and handing out the balls of the list, and keep those that you have apart from all "
        "others, marked. Ask every buyer whom you can reach not to use the ball any more and to bring it back to you. "
        "Keep what comes back with the rest, and wait for us to say how they are sent to us. Do not destroy any."
    ),
}
_SUBJECTS = {
    "stop-sale": "Stop of sale: do not sell the balls listed here",
    "recall": "Recall of the balls listed here",
}
_ANSWER = (
    "How to answer: say for each serial of the list, also for balls that you no longer have, which of these is true: in "
    "stock; sold; moved, and to whom; destroyed; returned to us; not received. Write it beside the serial and send the list "
    "back, or fill in the columns answer and to of the file that comes with this letter. A ball that nobody answers for "
    "stays on our list as unaccounted."
)
_LAW = (
    "Recalls and safety notices are a matter of the law of the place where you are. Please follow it, and let licensed "
    "counsel advise you on what it asks of you; this letter is no legal advice."
)


class NoticeBall(NamedTuple):
    """A ball as a notice names it; ``serial`` is its unit where it bears no number, ``weight_class`` in pounds."""

    serial: str
    model: str
    weight_class: int | None
    shipment: str
    sent_on: dt.date | None
    possible: bool


class NoticeFacts(NamedTuple):
    """What a notice is made from. ``to``: name and address, one line each; ``reason`` is a short word of the case."""

    plant: str
    to: tuple[str, ...]
    on: dt.date
    case: str
    consignee: str
    action: Literal["stop-sale", "recall"]
    reason: str
    balls: tuple[NoticeBall, ...]


def notice_letter(facts: NoticeFacts) -> Letter:
    """The letter to one consignee, with the list of what he holds."""
    return Letter(
        sender=(facts.plant,),
        to=facts.to,
        on=facts.on,
        reference=f"{facts.case} / {facts.consignee}",
        subject=_SUBJECTS[facts.action],
        paragraphs=("To whom it may concern,", _opening(facts), _ASKS[facts.action], _ANSWER, _LAW),
        columns=COLUMNS,
        rows=tuple(_row(ball) for ball in facts.balls),
        closing=("Yours sincerely,", "", facts.plant),
    )


def _opening(facts: NoticeFacts) -> str:
    count = len(facts.balls)
    which = "1 ball that we sent" if count == 1 else f"{count} balls that we sent"
    said = (
        f"we have reason to suspect a fault ({facts.reason.replace('-', ' ')}) in {which} to you or that came to you."
    )
    unsure = sum(ball.possible for ball in facts.balls)
    if unsure == count:
        said += (
            " Our records do not tell surely that they are among those concerned; please treat them as if they were."
        )
    elif unsure:
        said += f" For {unsure} of them our records do not tell surely; please treat them as the others."
    return f"{said[:1].upper()}{said[1:]}"


def _row(ball: NoticeBall) -> tuple[str, ...]:
    weight = "" if ball.weight_class is None else f"{ball.weight_class} lb"
    sent = "" if ball.sent_on is None else ball.sent_on.isoformat()
    return (ball.serial, ball.model, weight, ball.shipment, sent, "")
