"""Plants of a directory asked at once, at the addresses that they show to anyone: about a number, and for their heads.

What comes back is named by plant and never made into one verdict: a plant that does not answer has said nothing.  Each
request has the limits of what sends it, so that a plant which does not answer holds up no other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import msgspec

from ledger.application.public import PublicAnswer
from ledger.book.policy import Policy
from ledger.duties.witness_talk import Answer, Send, Unreached
from ledger.errors import LedgerError, TooLarge
from ledger.evidence.plant_heads import PlantHead, check_plant_head
from ledger.line.gs1 import format_link
from ledger.tracing.plants import Plant
from ledger.tracing.whose_serial import CanBe
from ledger.warranty.partial_serial import Guess

AT_ONCE = 32
"""Requests under way at a time."""

MOST_ASKS = 500
"""Requests for one number: one for each plant and product."""

NOT_THE_BALL = (
    "each answer is the plant's own word about a number; a label can be copied, so none says which ball it is"
)
"""Told beside what plants answer."""

T = TypeVar("T")
R = TypeVar("R")


class Unanswered(NamedTuple):
    """A plant that gave nothing that counts, and why."""

    plant: Plant
    why: str
    gtin: str = ""


class Answered(NamedTuple):
    """What a plant says of a number under a product; its own words, checked for their form alone."""

    plant: Plant
    gtin: str
    answer: PublicAnswer


class _Page(msgspec.Struct, frozen=True):
    answer: PublicAnswer


def whole_number(guess: Guess) -> str | None:
    """The one number that a reading stands for; None where a place is open that the check character does not give."""
    if len(guess.unread) > 1 or (guess.unread and guess.scheme != "own"):
        return None
    return next(guess.serials(), None)


def ask_plants(found: Sequence[CanBe], send: Send, *, gtin: str = "") -> list[Answered | Unanswered]:
    """What each plant says of the number, under ``gtin`` or under each product that it lists; in the order of ``found``.

    Raises TooLarge for more than `MOST_ASKS` requests.
    """
    asks = [(one, product) for one in found for product in ((gtin,) if gtin else one.plant.gtins or ("",))]
    if len(asks) > MOST_ASKS:
        raise TooLarge(
            "too many products would be asked for",
            expected=f"at most {MOST_ASKS}",
            got=len(asks),
            mend="name the product of the label (--gtin), or scan its code",
        )
    return _at_once(lambda ask: _asked(*ask, send), asks)


def heads_of(plants: Sequence[Plant], send: Send, policy: Policy | None = None) -> list[PlantHead | Unanswered]:
    """The head that each plant shows, checked, or why there is none; in the order of ``plants``."""
    return _at_once(lambda plant: _head(plant, send, policy), plants)


def _at_once(ask: Callable[[T], R], asked: Sequence[T]) -> list[R]:
    with ThreadPoolExecutor(max(1, min(AT_ONCE, len(asked)))) as threads:
        return list(threads.map(ask, asked))


def _asked(one: CanBe, gtin: str, send: Send) -> Answered | Unanswered:
    number = whole_number(one.guess)
    if number is None:
        return Unanswered(one.plant, "not asked: a place is not read, so ask at the plant (`pourbook find`)", gtin)
    if not gtin:
        return Unanswered(one.plant, "not asked: the directory lists none of its products, and none was named")
    try:
        url = format_link(one.plant.address, gtin, number)
    except LedgerError as error:
        return Unanswered(one.plant, f"not asked: {error}", gtin)
    body = _body(send("GET", url))
    if isinstance(body, str):
        return Unanswered(one.plant, body, gtin)
    try:
        answer = msgspec.json.decode(body, type=_Page).answer
    except (msgspec.DecodeError, UnicodeDecodeError):
        return Unanswered(one.plant, "its answer is none of a book's service", gtin)
    if answer.serial != number:
        return Unanswered(one.plant, "its answer is about another number", gtin)
    return Answered(one.plant, gtin, answer)


def _head(plant: Plant, send: Send, policy: Policy | None) -> PlantHead | Unanswered:
    published = send("GET", f"{plant.address}/checkpoint/published")
    none_yet = isinstance(published, Answer) and published.status == 404
    shown = None if none_yet else _body(published)
    # Asked for after what was published, so that it can be no older.
    note = _body(send("GET", f"{plant.address}/checkpoint"))
    if isinstance(shown, str):
        return Unanswered(plant, shown)
    if isinstance(note, str):
        return Unanswered(plant, note)
    try:
        return check_plant_head(plant, note, shown, policy)
    except LedgerError as error:
        return Unanswered(plant, f"its checkpoint does not check: {error}")


def _body(answer: Answer | Unreached) -> bytes | str:
    """The bytes of an answer, or in words why it is none."""
    if isinstance(answer, Unreached):
        return answer.why
    return answer.body if answer.status == 200 else f"it answers with status {answer.status}"
