"""Random plants on a real store: two writers, retries, refusals in a group, holds, corrections, against the invariants."""

from __future__ import annotations

import itertools
import shutil
import tempfile
from collections.abc import Sequence
from concurrent.futures import wait
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from msgspec import UNSET

from ledger.application.proofs import check_book
from ledger.book.receipt import check_receipt
from ledger.errors import KeyReused, MalformedInput, Refused, UnknownSubject
from ledger.line.balls import BallEngraved
from ledger.line.corrections import Change, Correction
from ledger.line.erasures import Erasure
from ledger.line.holds import HoldLifted, HoldPlaced
from ledger.line.inspections import readings_digest
from ledger.line.lot_changes import LotRecounted, PiecesLost
from ledger.line.lots import left_of
from ledger.line.moulding import BlocksMoulded, CoresPoured, ShellsPoured
from ledger.line.plant_rules import PLANT
from ledger.line.reading_rows import Measured
from ledger.line.record import Record
from ledger.line.release_policy import newest_policy
from ledger.line.releases import Release, Rework, Scrap
from ledger.line.rows import BreachRow, Lot, ReleasePolicy, Unit
from ledger.line.shipments import Restocked, Returned, Shipment
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ledger.store.writer import Writer
from tests.line import making
from tests.line.independent_fold import shown, told
from tests.plant import ORIGIN, SIGNER, VERIFIER, new_writer, steady_clock
from tests.whole.machine_plant import STARTED, ball, of_the_plant, otherwise, said, template_book
from tests.whole.read_back import ReadBack

AUTHORS = ("a-mary", "a-omar")
PLAN = "1.1"
OPENINGS = 'SELECT "path" FROM "opening" WHERE "index" = ?'
any_place = st.integers(0, 10**6)
writers = st.integers(0, 1)
authors = st.sampled_from(AUTHORS)
counts = st.integers(1, 6)


class PlantMachine(RuleBasedStateMachine):
    """One invented plant, written by two writers with stores of their own on one file."""

    template: Path

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="machine-"))
        self.numbers = itertools.count(1)
        self.entered: list[tuple[Submission, str, Entered]] = []
        self.lots: dict[str, list[str]] = {"block": ["BL-0"], "core": ["CL-0"], "shell": ["SL-0"]}
        self.units: list[str] = list(STARTED)
        self.holds: list[str] = []
        self.stores: list[Store] = []
        self.writers: list[Writer] = []

    @initialize()
    def open(self) -> None:
        """Open the file twice."""
        shutil.copy(self.template, self.folder / "book.db")
        for number in range(2):
            self.stores.append(open_store(f"sqlite:///{self.folder / 'book.db'}", migrate=False))
            self.writers.append(self._start(number))

    def _start(self, number: int) -> Writer:
        # Writers differ in their clocks, as machines do, and in how much they take at once.
        writer = new_writer(
            self.stores[number],
            clock_ms=steady_clock(1_773_100_000_000 - 50_000 * number),
            group_limit=(256, 3)[number],
            salts=lambda n: [next(self.numbers).to_bytes(32, "big") for _ in range(n)],
        )
        writer.start()
        return writer

    def _name(self, stem: str) -> str:
        return f"{stem}-{next(self.numbers)}"

    def _say(self, writer: int, author: str, *records: Record) -> Entered | None:
        """Say records; their entry, or None where they are refused, as only this project's refusals may do."""
        submission = said(self._name("k"), *records)
        try:
            entered: Entered = self.writers[writer].submit(submission, author).result(30)
        except (Refused, MalformedInput):
            return None
        self._heard(submission, author, entered)
        return entered

    def _heard(self, submission: Submission, author: str, entered: Entered) -> None:
        check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
        assert not entered.repeated
        self.entered.append((submission, author, entered))
        for position, record in enumerate(submission.records):
            match record:
                case BlocksMoulded(lot=lot):
                    self.lots["block"].append(lot)
                case CoresPoured(lot=lot):
                    self.lots["core"].append(lot)
                case ShellsPoured(lot=lot):
                    self.lots["shell"].append(lot)
                case BallEngraved(unit=unit):
                    self.units.append(unit)
                case HoldPlaced(hold=hold):
                    self.holds.append(hold)
            held = [number for number, breach in enumerate(entered.breaches[position]) if breach.holds]
            self.holds += [f"B{entered.index}.{position}.{number}" for number in held]

    @rule(writer=writers, author=authors, count=counts)
    def mould_blocks(self, writer: int, author: str, count: int) -> None:
        """Blocks are moulded."""
        self._say(writer, author, making.blocks(self._name("BL"), count, note="moulded by somebody"))

    @rule(writer=writers, author=authors, place=any_place, count=counts, early=st.booleans(), mixed=st.booleans())
    def pour_cores(self, writer: int, author: str, place: int, count: int, early: bool, mixed: bool) -> None:  # noqa: FBT001  # as drawn
        """Cores are poured over blocks, sometimes before these rested, sometimes over more than there are."""
        drawn = [(_pick(self.lots["block"], place), count)]
        if mixed:
            drawn.append((_pick(self.lots["block"], place + 1), 1))
        when = {"began_at": making.at(3, "12:00"), "at": making.at(3, "12:30")} if early else {}
        self._say(writer, author, making.cores(self._name("CL"), *dict(drawn).items(), **when))

    @rule(writer=writers, author=authors, place=any_place, count=counts)
    def pour_shells(self, writer: int, author: str, place: int, count: int) -> None:
        """Shells are poured over cores."""
        self._say(writer, author, making.shells(self._name("SL"), (_pick(self.lots["core"], place), count)))

    @rule(writer=writers, author=authors, place=any_place, value=st.sampled_from(("15.05", "14.90", "16.20")))
    def register(self, writer: int, author: str, place: int, value: str) -> None:
        """A ball is engraved and weighed."""
        unit = self._name("U")
        self._say(writer, author, *ball(unit, _pick(self.lots["shell"], place), value))

    @rule(writer=writers, author=authors, place=any_place, sampled=st.booleans())
    def release(self, writer: int, author: str, place: int, sampled: bool) -> None:  # noqa: FBT001  # as drawn
        """A ball is released on the readings that stand: never under a hold that stops it."""
        unit = _pick(self.units, place)
        with open_reader(self.stores[writer]) as reader:
            measured, row = reader.one(Measured, unit), reader.one(Unit, unit)
            policy = newest_policy(reader.rows(ReleasePolicy, "scope", PLANT))
        released = Release(
            at=making.at(11),
            unit=unit,
            grade="first",
            readings=readings_digest(measured),
            plan=PLAN,
            bases=(),
            policy=UNSET if policy is None else policy.address,
        )
        judged = [making.sample(lot=row.lot)] if sampled and row is not None else []
        if self._say(writer, author, *judged, released) is not None:
            assert [] == self._stopping(unit, "release")

    @rule(writer=writers, author=authors, places=st.lists(any_place, min_size=1, max_size=3), test=st.booleans())
    def ship(self, writer: int, author: str, places: list[int], test: bool) -> None:  # noqa: FBT001  # as drawn
        """Balls leave: never under a hold that stops shipment, and for sale only when they were released."""
        units = tuple(dict.fromkeys(_pick(self.units, place) for place in places))
        before = self._read_back()
        purpose: Any = "test" if test else "sale"
        shipment = Shipment(
            at=making.at(12), shipment=self._name("SH"), units=units, consignee="A shop", purpose=purpose
        )
        if self._say(writer, author, shipment) is not None:
            states = {told(before)["units"][unit]["state"] for unit in units}
            assert test or {"released"} == states
            assert [] == [hold for unit in units for hold in self._stopping(unit, "shipment")]

    @rule(writer=writers, author=authors, place=any_place, what=st.integers(0, 4))
    def treat(self, writer: int, author: str, place: int, what: int) -> None:
        """A ball is reworked, scrapped, returned, restocked or weighed again."""
        unit, at = _pick(self.units, place), making.at(13)
        record = (
            Rework(at=at, unit=unit, operation="resurface", station="RW-1"),
            Scrap(at=at, unit=unit, how="scrap", reason="cracked"),
            Returned(at=at, unit=unit, reason="unsold"),
            Restocked(at=at, unit=unit),
            making.inspection(unit, at=making.at(14)),
        )[what]
        self._say(writer, author, record)

    @rule(writer=writers, author=authors, place=any_place, count=counts, recount=st.booleans())
    def lose(self, writer: int, author: str, place: int, count: int, recount: bool) -> None:  # noqa: FBT001  # as drawn
        """Pieces are lost, or a lot is counted again."""
        lot = _pick(self._every_lot(), place)
        lost = PiecesLost(at=making.at(9), lot=lot, count=count, how="scrap", reason="chipped")
        counted = LotRecounted(at=making.at(9), lot=lot, left=count, reason="stock-taking")
        self._say(writer, author, counted if recount else lost)

    @rule(writer=writers, author=authors, place=any_place, ball=st.booleans(), recall=st.booleans())
    def hold(self, writer: int, author: str, place: int, ball: bool, recall: bool) -> None:  # noqa: FBT001  # as drawn
        """A lot or a ball is held."""
        lots = self._every_lot()
        node = f"unit:{_pick(self.units, place)}" if ball else f"lot:{_pick(lots, place)}"
        self._say(
            writer,
            author,
            HoldPlaced(at=making.at(10), hold=self._name("H"), reason="suspect", node=node, recall=recall),
        )

    @precondition(lambda self: self.holds)
    @rule(writer=writers, author=authors, place=any_place)
    def lift(self, writer: int, author: str, place: int) -> None:
        """A hold is lifted, a breach's own among them."""
        self._say(writer, author, HoldLifted(at=making.at(10), hold=_pick(self.holds, place), reason="examined"))

    @rule(writer=writers, author=authors, place=any_place, what=st.integers(0, 5), number=st.integers(0, 9))
    def say_of_plant(self, writer: int, author: str, place: int, what: int, number: int) -> None:
        """A policy, limits, a study, the log of a rack of cores, or an adopted file."""
        self._say(writer, author, of_the_plant(what, _pick(self.lots["core"], place), number))

    @precondition(lambda self: self.entered)
    @rule(writer=writers, author=authors, place=any_place)
    def erase(self, writer: int, author: str, place: int) -> None:
        """The note of an entry is erased, once; its opening is gone from the store, and the entry stays as it was."""
        noted = [one for one in self.entered if one[0].records[0].note is not UNSET]
        submission, _, entered = _pick(noted if noted and place % 4 else self.entered, place)
        record = Erasure(at=making.at(20), entry=entered.index, fields=("0/note",), basis="request", reason="asked")
        erased = self._say(writer, author, record)
        with open_reader(self.stores[1 - writer]) as reader:
            paths = [path for (path,) in reader.transaction.rows(OPENINGS, (entered.index,))]
            assert entered.entry_bytes == reader.entry(entered.index).bytes
        assert "0/note" not in paths
        assert erased is None or submission.records[0].note is not UNSET

    @precondition(lambda self: self.entered)
    @rule(writer=writers, author=authors, place=any_place, number=st.integers(1, 9))
    def correct(self, writer: int, author: str, place: int, number: int) -> None:
        """A fact is withdrawn, or replaced by one with another figure, time or serial."""
        submission, _, entered = _pick(self.entered, place)
        position = number % len(submission.records)
        change = Change(fact=entered.addresses[position])
        other = otherwise(submission.records[position], number)
        if other is not None:
            change = Change(fact=entered.addresses[position], replacement=other)
        self._say(writer, author, Correction(at=making.at(20), reason="mistyped", changes=(change,)))

    @precondition(lambda self: self.entered)
    @rule(writer=writers, place=any_place)
    def retry(self, writer: int, place: int) -> None:
        """The same submission again, at either writer, gives the same entry."""
        submission, author, entered = _pick(self.entered, place)
        again: Entered = self.writers[writer].submit(submission, author).result(30)
        check_receipt(again.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
        assert (entered.index, entered.entry_bytes, entered.breaches, True) == (
            again.index,
            again.entry_bytes,
            again.breaches,
            again.repeated,
        )

    @precondition(lambda self: self.entered)
    @rule(writer=writers, place=any_place)
    def reuse_key(self, writer: int, place: int) -> None:
        """A used key with another body is refused."""
        submission, author, _ = _pick(self.entered, place)
        other = said(submission.key, making.blocks(self._name("BL"), 7))
        with pytest.raises(KeyReused):
            self.writers[writer].submit(other, author).result(30)

    @rule(writer=writers, author=authors, size=st.integers(2, 5), bad=any_place)
    def say_at_once(self, writer: int, author: str, size: int, bad: int) -> None:
        """Several submissions wait at both writers; a bad one among them is refused alone, and the others stand."""
        submissions = [said(self._name("k"), making.blocks(self._name("BL"), 2)) for _ in range(size)]
        wrong = said(self._name("k"), making.blocks(self._name("BL"), 2), making.cores(self._name("CL"), ("NO-LOT", 1)))
        submissions.insert(bad % (size + 1), wrong)
        ways = [writer if place % 3 else 1 - writer for place in range(size + 1)]
        futures = [self.writers[way].submit(one, author) for way, one in zip(ways, submissions, strict=True)]
        wait(futures, 30)
        for submission, future in zip(submissions, futures, strict=True):
            if submission is wrong:
                assert isinstance(future.exception(0), UnknownSubject)
            else:
                self._heard(submission, author, future.result(0))

    @rule(writer=writers)
    def restart(self, writer: int) -> None:
        """A writer stops and another starts in its place."""
        self.writers[writer].stop()
        self.writers[writer] = self._start(writer)

    @invariant()
    def nothing_goes_missing(self) -> None:
        """A shortage of any lot is a breach somewhere in the book."""
        if not self.stores:
            return
        with open_reader(self.stores[0]) as reader:
            every = ReadBack(reader).tables.rows
        short = {f"lot:{lot.lot}" for lot in every[Lot].values() if left_of(lot) < 0}
        codes = {row.code for row in every[BreachRow].values()}
        assert not short or "over-drawn" in codes or "short" in codes, (short, codes)

    def _every_lot(self) -> list[str]:
        return [lot for lots in self.lots.values() for lot in lots]

    def _read_back(self) -> Any:
        with open_reader(self.stores[0]) as reader:
            return ReadBack(reader)

    def _stopping(self, unit: str, stop: str) -> list[str]:
        """The open holds that stop something for a ball, found by the independent fold: on it or on a lot above it."""
        story = told(self._read_back())
        above = {story["units"][unit]["lot"]}
        while more := {parent for child, parent, _ in story["edges"] if child in above} - above:
            above |= more
        nodes = {f"unit:{unit}", *(f"lot:{lot}" for lot in above)}
        return [
            name for name, (node, stops, is_open) in story["holds"].items()
            if is_open and node in nodes and stop in stops.split(",")
        ]  # fmt: skip

    def teardown(self) -> None:
        """The book checks, its views are what the entries give, and each acknowledged key stands exactly once."""
        try:
            for writer in self.writers:
                writer.stop()
            if self.stores:
                self._check_all()
        finally:
            for store in self.stores:
                store.close()
            shutil.rmtree(self.folder)

    def _check_all(self) -> None:
        check_book(self.stores[1], ORIGIN, [SIGNER.verifier], views=True)
        book: Any = self._read_back()
        assert told(book) == shown(book)
        keys = book.keys
        assert len(keys) == len(set(keys))
        for submission, author, entered in self.entered:
            assert (author, submission.key) == keys[entered.index]


def _pick(found: Sequence[Any], place: int) -> Any:
    return found[place % len(found)]


def run(folder: Path, *, examples: int, steps: int) -> None:
    """Drive that many plants, each over that many steps."""
    PlantMachine.template = template_book(folder)
    run_state_machine_as_test(
        PlantMachine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            suppress_health_check=list(HealthCheck),
            print_blob=True,
        ),
    )


def test_random_plants_keep_the_invariants(tmp_path: Path) -> None:
    """Whatever a plant does, its accounts, holds, keys and views hold, on a store that two writers share."""
    run(tmp_path, examples=60, steps=30)


@pytest.mark.full
def test_many_random_plants_keep_the_invariants(tmp_path: Path) -> None:
    """The same over many more and longer runs."""
    run(tmp_path, examples=200, steps=50)
