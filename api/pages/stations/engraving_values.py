"""What the engraving page shows: the lot, the number that is next, whether it may be engraved now, and what was last."""

from __future__ import annotations

from typing import Any, NamedTuple

from api.parts import Parts
from ledger.access.roles import MAY_SAY
from ledger.access.tokens import Account
from ledger.application.asking import AskAnswer
from ledger.application.at_station import last_said, lots_open
from ledger.application.engraving_lot import EngravingLot, engraving_lot
from ledger.application.numbers_ahead import Desk, numbers_in_hand
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.line.balls import BallEngraved, UnitStarted
from ledger.line.record import Record
from ledger.store.reader import open_reader

ANY_CLASS = 15
"""Asked with where neither lot nor form says a class: what may be done does not depend on it."""


class AskedOf(NamedTuple):
    """The lot at the station, and the numbers that the browser passed over."""

    lot: str
    passed: tuple[str, ...] = ()


def engraving_values(parts: Parts, asked: AskedOf, desk: Desk, account: Account) -> dict[str, Any]:
    """Everything the template is given about a lot; without one, which lots are open. Raises NotFound, Contradiction."""
    now_ms = parts.book.clock_ms()
    with open_reader(parts.book.store) as reader:
        if not asked.lot:
            return {"view": None, "open_lots": lots_open(reader, ("shell",), now_ms), "said": ()}
        view = engraving_lot(reader, asked.lot, desk.station)
        held = numbers_in_hand(reader, desk, asked.lot).serials if desk.word else ()
        said = last_said(reader, f"lot:{asked.lot}", account, now_ms)
    numbers = tuple(serial for serial in held if serial not in asked.passed)
    answer = parts.book.ask([_candidate(view, numbers, desk, now_ms)], account)[0]
    return {
        "view": view,
        "numbers": numbers,
        "answer": answer,
        "earliest_ms": _earliest(answer),
        "said": said,
        "may_say": not MAY_SAY["ball-engraved"].isdisjoint(account.roles),
    }


def fresh_unit(serial: str) -> str:
    """The id of a ball that had none before its number."""
    return f"U-{serial}"


def _candidate(view: EngravingLot, numbers: tuple[str, ...], desk: Desk, now_ms: int) -> Record:
    """What would be said if the next ball were engraved now; without a number in hand, if it became a unit."""
    at = format_instant(Instant(now_ms, 0))
    if not numbers:
        return UnitStarted(at=at, unit=fresh_unit("ASKED"), lot=view.lot, station=desk.station)
    return BallEngraved(
        at=at,
        unit=view.waiting[0].unit if view.waiting else fresh_unit(numbers[0]),
        lot=view.lot,
        serial=numbers[0],
        weight_class=view.weight_class or ANY_CLASS,
        station=desk.station,
    )


def _earliest(answer: AskAnswer) -> int | None:
    return None if answer.earliest is None else instant_ms(answer.earliest)
