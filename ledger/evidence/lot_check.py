"""The lot pages of a dossier: which balls of a lot are here, of how many, so that one that is left out shows.

A lot is closed by a fact that states how many balls it has and the Merkle root over them, each ball a leaf over its unit and
the number that it bore then (`ledger.line.lot_changes.balls_root`). A page lists all leaves; their root must be that fact's,
and each ball of the lot that is here must be one of them, or have come to the lot after it was closed. What happened since
the closing is told and not taken for a fault: a ball that bears another number now, one that entries say is of another lot,
one that is not in the book any more; each only where an entry here says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.book.canonical import encode
from ledger.book.merkle import leaf_hash, root
from ledger.errors import DossierRejected
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import MAX_LOT_BYTES, LotBall, LotPage, Scope, parse_page
from ledger.evidence.entry_facts import EntryFacts
from ledger.line.lot_changes import LotClosed


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFound:
    """A lot as found. ``count``: its balls when it was closed by fact ``closed``, None where no entry closes it.

    ``here``: those of them that have a sheet; ``gone``: those that entries here withdrew since. ``added``: balls with a
    sheet that came to the lot after it was closed, or that are of a lot not closed. ``renumbered`` and ``moved``: those of
    ``here`` that bear another number now, or are of another lot.
    """

    lot: str
    closed: str = ""
    count: int | None = None
    here: int = 0
    gone: int = 0
    added: int = 0
    renumbered: int = 0
    moved: int = 0

    @property
    def is_whole(self) -> bool:
        """Whether every ball that the lot had when it was closed is accounted for."""
        return self.count is not None and self.here + self.gone == self.count


@dataclass(slots=True)
class _Lot:
    """A page that was checked, without its balls; without its leaves too, where every ball has its place among them.

    ``here``, ``gone`` and ``added``: see `LotFound`.
    """

    page: LotPage
    here: int
    gone: int
    added: int
    renumbered: int = 0
    moved: int = 0


class SeatedBall(msgspec.Struct, array_like=True, gc=False):
    """What the pages of lots need of a ball whose sheet was checked. ``former``: the numbers that it bore before."""

    unit: str
    lot: str
    serial: str | None
    former: list[str]


class _Seat(NamedTuple):
    """A ball on a page, whose sheet is still to come: all that is kept of each, since lots may be many and large.

    ``bore``: the number that it bore at the closing, None for none; UNSET where it came to the lot later. ``other``: the
    same ball on another page.
    """

    lot: _Lot
    bore: str | UnsetType | None
    other: _Seat | None


def gone_balls(archive: Archive, lots: Iterable[str]) -> frozenset[str]:
    """The balls that lot pages name as withdrawn: what entries say of them is to be kept too. Raises MalformedDossier."""
    pages = (_read_page(archive, lot) for lot in lots)
    return frozenset(ball.unit for page in pages for ball in page.units if ball.gone)


class LotCheck:
    """Checks the pages, then hears of every sheet, then says what was found."""

    def __init__(self, archive: Archive, lots: Iterable[str], facts: EntryFacts) -> None:
        """Check each page against settled ``facts``. Raises MalformedDossier or DossierRejected naming the page."""
        self._archive = archive
        self._facts = facts
        self._seats: dict[str, _Seat] = {}
        self._lots = {lot: self._checked(lot) for lot in lots}

    def pages(self) -> tuple[LotPage, ...]:
        """The pages with all their leaves, each as its closing says. Read again, since what is kept has fewer."""
        return tuple(_read_page(self._archive, lot) for lot in self._lots)

    def _checked(self, lot: str) -> _Lot:
        name, page = _name(lot), _read_page(self._archive, lot)
        self._check_closing(page, name)
        _check_units(page, name)
        one = _kept(page)
        for ball in page.units:
            if ball.gone:
                self._check_gone(ball, name)
            elif f"balls/{ball.unit}.json" not in self._archive:
                raise DossierRejected("ball of the lot has no sheet here", got=ball.unit, where=name)
            else:
                self._seats[ball.unit] = _Seat(one, _bore(ball), self._seats.get(ball.unit))
        return one

    def _check_closing(self, page: LotPage, name: str) -> None:
        closing = self._facts.closing(page.lot)
        said: tuple[object, ...] = (UNSET, UNSET, UNSET, UNSET)
        if closing is not None:
            record = closing.record
            assert isinstance(record, LotClosed)  # noqa: S101  # unreachable: no other fact closes a lot
            said = (closing.address, closing.body or UNSET, record.count, record.balls_root)
        for field_name, found in zip(("closed", "body", "count", "balls_root"), said, strict=True):
            told = getattr(page, field_name)
            if told != found:
                raise DossierRejected(
                    "lot is told otherwise than its entries say",
                    expected="nothing" if found is UNSET else found,
                    got="nothing" if told is UNSET else told,
                    where=f"{name}: {field_name}",
                )
        if closing is None and page.leaves:
            raise DossierRejected("leaves of a lot that no entry here closes", where=name)

    def _check_gone(self, ball: LotBall, name: str) -> None:
        is_withdrawn = ball.unit in self._facts.corrected and not self._facts.speaks_of(ball.unit)
        if not is_withdrawn or f"balls/{ball.unit}.json" in self._archive:
            raise DossierRejected("no entry here withdraws the ball", got=ball.unit, where=name)

    def take(self, ball: SeatedBall) -> None:
        """Hear of a ball whose sheet was checked. Raises DossierRejected."""
        seats = list(self._seats_of(ball.unit))
        if self._lots and not any(seat.lot.page.lot == ball.lot for seat in seats):
            raise DossierRejected("ball is not on the page of its lot", got=ball.unit, where=_name(ball.lot))
        for seat in reversed(seats):
            self._meet(seat.lot, seat.bore, ball)

    def _seats_of(self, unit: str) -> Iterator[_Seat]:
        """Where the ball is on the pages, the last page first."""
        seat = self._seats.get(unit)
        while seat is not None:
            yield seat
            seat = seat.other

    def _meet(self, one: _Lot, bore: str | UnsetType | None, ball: SeatedBall) -> None:
        name = _name(one.page.lot)
        if bore is UNSET:
            _check_absent(one.page, ball.unit, {None, ball.serial, *ball.former}, name)
            return
        is_corrected = ball.unit in self._facts.corrected
        if bore != ball.serial:
            if bore is not None and bore not in ball.former and not is_corrected:
                raise DossierRejected("ball bore another number, and no entry says so", got=ball.unit, where=name)
            one.renumbered += 1
        if ball.lot != one.page.lot:
            if not is_corrected:
                raise DossierRejected("ball is of another lot, and no entry says so", got=ball.unit, where=name)
            one.moved += 1

    def found(self, scope: Scope) -> tuple[LotFound, ...]:
        """What was found, after the last sheet. Raises DossierRejected where whole lots are stated and a ball is missing."""
        found = tuple(_found(one) for one in self._lots.values())
        by_lot = {one.lot: one for one in found}
        for lot in scope.names if scope.kind == "lots" else ():
            if lot not in by_lot:
                raise DossierRejected("page of a lot that the scope names is missing", where=_name(lot))
            one = by_lot[lot]
            if one.count is not None and not one.is_whole:
                raise DossierRejected(
                    f"lot {lot} is not whole",
                    expected=f"{one.count} balls",
                    got=f"{one.here + one.gone} of {one.count}",
                    where=_name(lot),
                    mend="a ball was left out: ask for the whole lot",
                )
        return found


def _kept(page: LotPage) -> _Lot:
    placed = [ball for ball in page.units if ball.place is not UNSET]
    gone, added = sum(ball.gone for ball in placed), len(page.units) - len(placed)
    kept = msgspec.structs.replace(page, units=(), leaves=page.leaves if added else ())
    return _Lot(kept, here=len(placed) - gone, gone=gone, added=added)


def _bore(ball: LotBall) -> str | UnsetType | None:
    if ball.place is UNSET:
        return UNSET
    return None if ball.serial is UNSET else ball.serial


def _found(one: _Lot) -> LotFound:
    page = one.page
    return LotFound(
        lot=page.lot,
        closed="" if page.closed is UNSET else page.closed,
        count=None if page.count is UNSET else page.count,
        here=one.here,
        gone=one.gone,
        added=one.added,
        renumbered=one.renumbered,
        moved=one.moved,
    )


def _check_units(page: LotPage, name: str) -> None:
    """The leaves lead to the root, and each ball with a place is its leaf."""
    if page.closed is not UNSET:
        if len(page.leaves) != page.count:
            raise DossierRejected(
                "leaves are not as many as balls", expected=page.count, got=len(page.leaves), where=name
            )
        found = root([bytes.fromhex(leaf) for leaf in page.leaves]).hex()
        if found != page.balls_root:
            raise DossierRejected("leaves lead to another root", expected=page.balls_root, got=found, where=name)
    last_unit, last_place = "", -1
    for ball in page.units:
        if ball.unit <= last_unit:
            raise DossierRejected("balls are not in ascending order", got=ball.unit, where=name)
        last_unit = ball.unit
        if ball.place is UNSET:
            if ball.serial is not UNSET or ball.gone:
                raise DossierRejected("ball without a place tells of the closing", got=ball.unit, where=name)
            continue
        if not last_place < ball.place < len(page.leaves):
            raise DossierRejected("places are not in ascending order", got=ball.place, where=name)
        last_place = ball.place
        if page.leaves[ball.place] != ball_leaf(ball.unit, None if ball.serial is UNSET else ball.serial):
            raise DossierRejected("ball is not the leaf at its place", got=ball.unit, where=name)


def _check_absent(page: LotPage, unit: str, numbers: Iterable[str | None], name: str) -> None:
    if not {ball_leaf(unit, number) for number in numbers}.isdisjoint(page.leaves):
        raise DossierRejected("ball is told as added later, and has a leaf", got=unit, where=name)


def ball_leaf(unit: str, serial: str | None) -> str:
    """The leaf hash of a ball in its lot's tree, 64 hex digits."""
    return leaf_hash(encode([unit] if serial is None else [unit, serial])).hex()


def _read_page(archive: Archive, lot: str) -> LotPage:
    name = _name(lot)
    page = parse_page(archive.read(name, MAX_LOT_BYTES), LotPage, name)
    if page.lot != lot:
        raise DossierRejected("page is of another lot", expected=lot, got=page.lot, where=name)
    return page


def _name(lot: str) -> str:
    return f"lots/{lot}.json"
