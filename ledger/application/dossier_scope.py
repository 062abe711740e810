"""What a dossier is asked for: balls by their numbers, whole lots, the samples of an approval file, or a selection."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ledger.application.ball_view import find_units
from ledger.application.dossier_lots import LotHistory, gone_balls, lot_history
from ledger.book.instant import Instant, format_instant
from ledger.errors import NotFound
from ledger.evidence.dossier_format import Scope
from ledger.store.reader import Reader
from ledger.store.selections import Selection, select_ids


@dataclass(frozen=True, slots=True)
class Scoped:
    """A scope and its balls, ascending.

    ``histories`` of the lots that it names as whole, and ``gone`` those of their balls that are not in the book any more.
    """

    scope: Scope
    units: Sequence[str]
    histories: Mapping[str, LotHistory] = field(default_factory=dict)
    gone: Mapping[str, frozenset[str]] = field(default_factory=dict)


def by_serials(reader: Reader, serials: Sequence[str]) -> Scoped:
    """The balls that bear these numbers now. Raises NotFound for a number that none or several bear."""
    units = serial_units(reader, serials)
    return Scoped(Scope(kind="serials", words=f"{_balls(len(units))} by serial"), units)


def by_lots(reader: Reader, lots: Sequence[str]) -> Scoped:
    """Every ball of these shell lots: those that they have, and those that they had when they were closed.

    Raises NotFound for a lot that has no ball.
    """
    names = sorted(set(lots))
    histories = {lot: lot_history(reader, lot) for lot in names}
    for place, lot in enumerate(names):
        if not histories[lot].units:
            raise NotFound(f"lot {lot} has no ball", where=f"lots[{place}]", mend="name a shell lot with balls")
    gone = {lot: gone_balls(reader, history) for lot, history in histories.items()}
    units = {unit for lot, history in histories.items() for unit in history.units - gone[lot]}
    return Scoped(Scope(kind="lots", names=tuple(names), words=_lots_words(names)), sorted(units), histories, gone)


def by_selection(reader: Reader, selection: Selection) -> Scoped:
    """Balls picked by model, state or days of engraving. Raises NotFound where none is."""
    units = select_ids(reader.transaction, selection)
    if not units:
        raise NotFound("no ball is selected", mend="widen the selection")
    return Scoped(Scope(kind="selection", words=f"{_balls(len(units))}: {_selection_words(selection)}"), units)


def serial_units(reader: Reader, serials: Sequence[str]) -> list[str]:
    """The unit that bears each number now, once each, ascending. Raises NotFound for a number that none or several bear."""
    units: set[str] = set()
    for place, serial in enumerate(serials):
        bearers = [found.unit for found in find_units(reader, serial) if found.bears_it_now]
        if len(bearers) != 1:
            raise NotFound(
                f"{len(bearers)} balls bear {serial} now",
                expected="one ball",
                where=f"serials[{place}]",
                mend="look the number up; name another that the ball bears",
            )
        units.add(bearers[0])
    return sorted(units)


def _balls(number: int) -> str:
    return "1 ball" if number == 1 else f"{number:,} balls"


def _lots_words(lots: Sequence[str]) -> str:
    shown = ", ".join(lots[:20])
    more = f" and {len(lots) - 20} more" if len(lots) > 20 else ""
    return f"every ball of shell lot{'' if len(lots) == 1 else 's'} {shown}{more}"


def _selection_words(selection: Selection) -> str:
    said = [
        f"{words} {value}"
        for words, value in (
            ("of model", selection.model),
            ("of lot", selection.lot),
            ("unit", selection.unit),
            ("with number", selection.serial),
            ("in state", selection.state),
            ("engraved from", _day(selection.from_ms)),
            ("engraved to", _day(selection.to_ms)),
        )
        if value is not None
    ]
    return ", ".join(said) or "every ball of the book"


def _day(ms: int | None) -> str | None:
    return None if ms is None else format_instant(Instant(ms))[:10]
