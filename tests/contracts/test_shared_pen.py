"""Writers of several processes that share a pen: one enters what all are told, and nothing rests on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import wait
from pathlib import Path
from typing import Any

import pytest

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.envelope import SAID_TYPE, sign_envelope
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import KeyReused, LedgerError, StoreError, WriterStopped
from ledger.line.submission import Signed, Submission, seal_submission
from ledger.store.answer import GroupReport
from ledger.store.engine import Store, open_store
from ledger.store.openings import openings_between
from ledger.store.pen import share_pen
from ledger.store.reader import open_reader
from ledger.store.writer import Writer
from tests.contracts.test_two_writers import check_one_book
from tests.plant import AT, ORIGIN, counted_salts, line_start, opening, registration, said

BEGUN = 9
"""Entries of a begun line."""

STATION = signer_from_seed("E1", b"\x05" * 32, "station")


class Sharing:
    """Writers on stores of their own, as processes have them, which share a pen; and what each has entered."""

    def __init__(self, url: str, folder: Path, start: Callable[..., Writer]) -> None:
        """None yet."""
        self._url, self._folder, self._start = url, folder, start
        self.stores: list[Store] = []
        self.writers: list[Writer] = []
        self.entered: list[int] = []

    def one(self, **options: Any) -> Writer:
        """Another writer; the first of them holds the pen."""
        store = open_store(self._url, busy_ms=5_000)
        share_pen(store, self._folder)
        number = len(self.stores)
        self.stores.append(store)
        self.entered.append(0)

        def count(report: GroupReport) -> None:
            self.entered[number] += report.entries

        self.writers.append(self._start(on=store, on_group=count, **options))
        return self.writers[-1]


@pytest.fixture
def sharing(url: str, tmp_path: Path, start: Callable[..., Writer]) -> Iterator[Sharing]:
    """Writers that share a pen over one store."""
    made = Sharing(url, tmp_path / "pen", start)
    yield made
    for writer in made.writers:
        writer.stop()
    for store in made.stores:
        store.close()


def begin(writer: Writer) -> None:
    """Say the line's beginnings and wait for them."""
    wait([writer.submit(submission, "a-lead") for submission in [opening(), *line_start()]], 60)


def test_one_enters_what_all_are_told(store: Store, sharing: Sharing) -> None:
    """Balls said to three writers are one chain, entered by the one that holds the pen alone, and the others know its checkpoint."""
    writers = [sharing.one() for _ in range(3)]
    begin(writers[1])
    futures = [writers[number % 3].submit(registration(number), "a-engraver") for number in range(60)]
    receipts = [future.result(60).receipt for future in futures]
    check_one_book(store, BEGUN + 60, receipts)
    assert [BEGUN + 60, 0, 0] == sharing.entered
    for writer in writers:
        assert writer.checkpoint is not None
        assert BEGUN + 60 == parse_checkpoint(writer.checkpoint).tree_size


def test_what_is_sealed_stands_as_if_it_was_said_to_the_holder(store: Store, sharing: Sharing) -> None:
    """Withheld and erasable fields that are passed on have their openings in the store."""
    _, follower = sharing.one(), sharing.one()
    begin(follower)
    with open_reader(store) as reader:
        openings = openings_between(reader.transaction, 0, BEGUN)
    assert {"A supplier", "seen by a person"} <= {stored.opening.value for stored in openings}


def test_a_station_s_signature_is_passed_on(store: Store, sharing: Sharing) -> None:
    """What a station signed stands byte for byte, and one that another key signed is refused."""
    _, follower = sharing.one(), sharing.one()
    begin(follower)
    verifier = format_verifier(STATION.verifier)
    key = {"kind": "key-introduced", "at": AT, "key": "E1", "purpose": "station", "verifier": verifier}
    follower.submit(said("key", key), "a-lead").result(60)
    bytes_said = seal_submission(ORIGIN, registration(1), counted_salts()).said
    stranger = signer_from_seed("E1", b"\x06" * 32, "station")
    envelopes = [sign_envelope(SAID_TYPE, bytes_said, signer) for signer in (STATION, stranger)]
    good, bad = (
        Submission(key="ball-1", records=registration(1).records, signed=Signed(said=bytes_said, envelope=envelope))
        for envelope in envelopes
    )
    with pytest.raises(LedgerError) as refused:
        follower.submit(bad, "a-engraver").result(60)
    entered = follower.submit(good, "a-engraver").result(60)
    assert ("signature-rejected", BEGUN + 1, True) == (
        refused.value.code,
        entered.index,
        bytes_said in entered.entry_bytes,
    )


def test_a_refusal_is_the_same_by_the_pen_and_without(sharing: Sharing) -> None:
    """Code, text and mend of what is refused do not tell who was asked."""
    holder, follower = sharing.one(), sharing.one()
    begin(holder)
    told = []
    for writer in (holder, follower):
        with pytest.raises(LedgerError) as refused:
            writer.submit(registration(1, lot="SL-9", key="unknown-lot"), "a-engraver").result(60)
        told.append((type(refused.value), str(refused.value), refused.value.mend))
    assert told[0] == told[1]


def test_a_key_is_used_once_by_the_pen(sharing: Sharing) -> None:
    """The same ball said to both is one entry; another body under its key is refused."""
    holder, follower = sharing.one(), sharing.one()
    begin(holder)
    answers = [writer.submit(registration(1), "a-engraver").result(60) for writer in (follower, holder, follower)]
    assert [(BEGUN, False), (BEGUN, True), (BEGUN, True)] == [(one.index, one.repeated) for one in answers]
    with pytest.raises(KeyReused):
        follower.submit(registration(2, key="ball-1"), "a-engraver").result(60)


def test_the_next_one_takes_the_pen_and_nothing_is_lost(store: Store, sharing: Sharing) -> None:
    """The holder stops under load: all that was said to the others stands once, in their order, and one of them enters it."""
    holder, *others = sharing.one(), sharing.one(), sharing.one()
    begin(others[0])
    futures = [[other.submit(registration(100 * place + number), "a-engraver") for number in range(40)]
               for place, other in enumerate(others)]  # fmt: skip
    holder.stop()
    later = [other.submit(registration(900 + place), "a-engraver") for place, other in enumerate(others)]
    indexes = [[future.result(60).index for future in each] for each in futures]
    assert [sorted(each) for each in indexes] == indexes
    receipts = [future.result(60).receipt for future in [*futures[0], *futures[1], *later]]
    check_one_book(store, BEGUN + 82, receipts)
    # Whoever looked first holds it now; the other finds it with the next group that it would enter itself.
    assert 1 == sum(one.pen is not None and one.pen.holder is not None for one in sharing.stores)


def test_what_is_said_meanwhile_is_not_overtaken(store: Store, sharing: Sharing) -> None:
    """A pour and its balls, said without waiting while the holder goes and the next one takes over, are entered in that order."""
    holder, *others = sharing.one(), sharing.one(), sharing.one()
    begin(others[0])
    futures = []
    for number in range(30):
        if number == 10:
            holder.stop()
        lot = line_start(lot=f"SL-{number + 2}")[-1]
        pour = Submission(key=f"pour-{number}", records=lot.records)
        for other in (others if number % 2 else others[::-1])[:1]:
            futures.append(other.submit(pour, "a-lead"))
            futures.append(other.submit(registration(number, lot=f"SL-{number + 2}"), "a-engraver"))
    assert [None] * 60 == [future.exception(60) for future in futures]


def test_a_writer_that_stops_answers_what_it_passed_on(store: Store, sharing: Sharing) -> None:
    """Who passes on waits for the answers before it ends; what comes after is refused."""
    _, follower = sharing.one(), sharing.one()
    begin(follower)
    futures = [follower.submit(registration(number), "a-engraver") for number in range(20)]
    follower.stop()
    assert list(range(BEGUN, BEGUN + 20)) == [future.result(0).index for future in futures]
    with pytest.raises(WriterStopped):
        follower.submit(registration(99), "a-engraver")


def test_a_holder_whose_store_fails_leaves_it_to_the_others(
    store: Store, sharing: Sharing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the holder cannot enter, whoever passed it on enters it by itself."""
    holder, follower = sharing.one(), sharing.one()
    begin(holder)

    def fail(*_asked: Any) -> None:
        raise StoreError("the disk of the holder is gone")

    monkeypatch.setattr(holder._committer, "commit", fail)  # a fault of this process alone
    receipts = [follower.submit(registration(number), "a-engraver").result(60).receipt for number in range(5)]
    check_one_book(store, BEGUN + 5, receipts)
    assert [BEGUN, 5] == sharing.entered
