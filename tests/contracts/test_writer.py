"""The one way in: what every store must do with submissions."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import wait

import msgspec
import pytest

from ledger.book import merkle
from ledger.book.canonical import encode
from ledger.book.checkpoint import check_checkpoint
from ledger.book.entry import GENESIS_HASH, check_chain, entry_hash, parse_entry, said_fields
from ledger.book.envelope import sign_envelope
from ledger.book.receipt import check_receipt, parse_receipt
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import (
    Contradiction,
    KeyReused,
    LedgerError,
    MalformedInput,
    RuleStands,
    SignatureRejected,
    UnknownSubject,
    WriterStopped,
)
from ledger.line.reading_rows import Measured
from ledger.line.rows import FactRow, Lot, Unit
from ledger.line.submission import Signed, Submission, seal_submission
from ledger.store import writer as writer_module
from ledger.store.answer import Entered, GroupReport, Settled, settle_futures
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.writer import Writer
from tests.contracts.gate import Gate, in_one_group
from tests.plant import AT, ORIGIN, VERIFIER, counted_salts, line_start, opening, registration, said
from tests.stores import every_row

START = 9
"""Entries of a begun line."""


def test_entries_chain_and_the_checkpoint_signs_their_root(store: Store, writer: Writer) -> None:
    """Entries follow each other from entry 0, and the newest checkpoint has the root of exactly their hashes."""
    for number in range(5):
        writer.submit(registration(number), "a-engraver").result(30)
    with open_reader(store) as reader:
        raws = [entry.bytes for entry in reader.entries(0, 1_000)]
    previous = GENESIS_HASH
    for index, raw in enumerate(raws):
        check_chain(previous, index, raw)
        previous = entry_hash(raw)
    assert writer.checkpoint is not None
    checkpoint = check_checkpoint(writer.checkpoint, [VERIFIER], ORIGIN)
    assert (START + 5, merkle.root([entry_hash(raw) for raw in raws])) == (checkpoint.tree_size, checkpoint.root_hash)


def test_an_answer_holds_a_receipt_that_checks(writer: Writer) -> None:
    """The receipt proves the entry bytes under the signed checkpoint, with nothing but the verifier key."""
    entered: Entered = writer.submit(registration(1), "a-engraver").result(30)
    receipt = check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
    assert (entered.index, ("9.0", "9.1"), START) == (receipt.index, entered.addresses, entered.index)


def test_a_registration_is_seen_in_the_views(store: Store, writer: Writer) -> None:
    """The unit, its readings, the lot's account and the facts are there once the answer is."""
    writer.submit(registration(7), "a-engraver").result(30)
    with open_reader(store) as reader:
        unit, measured, lot = reader.one(Unit, "U-000007"), reader.one(Measured, "U-000007"), reader.one(Lot, "SL-1")
        fact = reader.one(FactRow, "9.0")
    assert unit is not None
    assert measured is not None
    assert lot is not None
    assert fact is not None
    assert ("P000007", 15_050_000, 1, "a-engraver") == (unit.serial, measured.mass, lot.used, fact.author)


def test_the_same_submission_again_gets_the_same_entry(store: Store, writer: Writer) -> None:
    """A repeated key with the same body adds nothing, and its receipt checks too."""
    first = writer.submit(registration(1), "a-engraver").result(30)
    writer.submit(registration(2), "a-engraver").result(30)
    again = writer.submit(registration(1), "a-engraver").result(30)
    check_receipt(again.receipt, again.entry_bytes, [VERIFIER], ORIGIN)
    with open_reader(store) as reader:
        size = reader.head().size
    assert (first.entry_bytes, True, START + 2, first.addresses, first.breaches, first.recorded_at) == (
        again.entry_bytes, again.repeated, size, again.addresses, again.breaches, again.recorded_at
    )  # fmt: skip


def test_a_key_with_another_body_is_refused(store: Store, writer: Writer) -> None:
    """A used key never covers another submission."""
    writer.submit(registration(1, key="once"), "a-engraver").result(30)
    before = every_row(store)
    with pytest.raises(KeyReused):
        writer.submit(registration(2, key="once"), "a-engraver").result(30)
    assert before == every_row(store)


def test_the_same_key_of_another_author_is_another_key(writer: Writer) -> None:
    """Keys belong to their author."""
    first = writer.submit(registration(1, key="once"), "a-engraver").result(30)
    second = writer.submit(registration(2, key="once"), "a-other").result(30)
    assert (first.index + 1, False) == (second.index, second.repeated)


def test_equal_submissions_in_one_group_share_the_answer(start: Callable[..., Writer]) -> None:
    """Two equal submissions that wait together become one entry."""
    model = line_start()[0]
    futures, gate = in_one_group(start, [model, model])
    first, second = (future.result(0) for future in futures)
    assert (1, 1, False, True, first.receipt) == (
        first.index,
        second.index,
        first.repeated,
        second.repeated,
        second.receipt,
    )
    assert [(2, 1)] == [(report.submissions, report.entries) for report in gate.reports[1:]]


def test_a_refusal_writes_nothing(store: Store, writer: Writer) -> None:
    """After a refused submission every table is as it was; it names the record and the field."""
    before = every_row(store)
    with pytest.raises(UnknownSubject) as caught:
        writer.submit(registration(1, lot="SL-NONE"), "a-engraver").result(30)
    assert (before, "records[0].lot") == (every_row(store), caught.value.where)


def test_a_refusal_is_not_remembered(writer: Writer) -> None:
    """The key of a refused submission may be used for one that is right."""
    with pytest.raises(UnknownSubject):
        writer.submit(registration(1, lot="SL-NONE", key="k"), "a-engraver").result(30)
    assert START == writer.submit(registration(1, key="k"), "a-engraver").result(30).index


def test_a_bad_submission_in_a_group_harms_no_other(store: Store, start: Callable[..., Writer]) -> None:
    """Of a group with one refusal in its middle the others stand, in order, with receipts against one checkpoint."""
    line = line_start()
    futures, gate = in_one_group(start, [line[0], registration(1, lot="SL-NONE"), *line[1:], registration(2)])
    assert isinstance(futures[1].exception(0), UnknownSubject)
    good = [future.result(0) for future in futures[:1] + futures[2:]]
    assert list(range(1, 10)) == [entered.index for entered in good]
    assert 1 == len({parse_receipt(entered.receipt).checkpoint_note for entered in good})
    for entered in good:
        check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
    assert [(10, 9, 1)] == [(report.submissions, report.entries, report.refused) for report in gate.reports[1:]]
    with open_reader(store) as reader:
        assert 10 == reader.head().size


def test_the_last_piece_of_a_lot_is_given_once_in_a_group(start: Callable[..., Writer]) -> None:
    """Submissions in one group see what those before them took: one ball too many is a breach of the last alone."""
    futures, _ = in_one_group(start, [*line_start(count=3), *(registration(number) for number in range(4))])
    balls = [future.result(0).breaches for future in futures[-4:]]
    assert [[], [], [], ["over-drawn"]] == [[breach.code for record in ball for breach in record] for ball in balls]


def test_malformed_submissions_are_refused_at_once(writer: Writer) -> None:
    """What cannot be right whatever the book says never reaches the queue."""
    with pytest.raises(MalformedInput):
        writer.submit(
            said(
                "k",
                {
                    "kind": "unit-started",
                    "at": "2026-02-30T08:00:00.000+00:00",
                    "unit": "U",
                    "lot": "L",
                    "station": "E",
                },
            ),
            "a-engraver",
        )


def test_recorded_at_never_goes_back(start: Callable[..., Writer]) -> None:
    """A service clock that is set back does not set the book back."""
    readings = iter([2_000_000, 1_000_000])
    writer = start(clock_ms=lambda: next(readings), offset_minutes=60)
    first, second = writer.submit(opening(), "a").result(30), writer.submit(line_start()[0], "a").result(30)
    assert ("1970-01-01T01:33:20.000+01:00", first.recorded_at) == (first.recorded_at, second.recorded_at)


def test_a_restarted_writer_goes_on_where_the_book_ends(
    store: Store, writer: Writer, start: Callable[..., Writer]
) -> None:
    """After a stop the head has the last checkpoint, and a new writer gives it, then the next index."""
    last = writer.submit(registration(1), "a-engraver").result(30)
    note = writer.checkpoint
    writer.stop()
    with open_reader(store) as reader:
        assert note == reader.head().checkpoint
    again = start()
    assert note == again.checkpoint
    assert last.index + 1 == again.submit(registration(2), "a-engraver").result(30).index


def test_a_stopped_writer_takes_nothing(writer: Writer) -> None:
    """Submitting to a stopped writer raises; nobody waits for an answer that cannot come."""
    writer.stop()
    with pytest.raises(WriterStopped):
        writer.submit(registration(1), "a-engraver")


def test_stopping_answers_everyone_who_waits(start: Callable[..., Writer]) -> None:
    """Whoever waits when the writer stops is answered: with an entry or with WriterStopped."""
    gate = Gate()
    writer = start(on_group=gate, group_limit=2)
    writer.submit(opening(), "a-lead")
    gate.reach()
    futures = [writer.submit(submission, "a-lead") for submission in line_start()]
    stopper = threading.Thread(target=writer.stop)
    stopper.start()
    gate.open()
    stopper.join(30)
    done, waiting = wait(futures, 30)
    errors = {type(future.exception(0)) for future in done}
    assert (len(futures), 0) == (len(done), len(waiting))
    assert errors <= {type(None), WriterStopped}


def test_a_writer_whose_thread_dies_answers_everyone(start: Callable[..., Writer]) -> None:
    """An error that ends the thread fails every waiter with WriterStopped, and later submissions at once."""

    def break_down(_report: GroupReport) -> None:
        gate.reach_and_wait()
        message = "the service's counter is broken"
        raise RuntimeError(message)

    gate = Gate()
    writer = start(on_group=break_down)
    writer.submit(opening(), "a-lead")
    gate.reach()
    futures = [writer.submit(submission, "a-lead") for submission in line_start()]
    gate.open()
    assert {WriterStopped} == {type(future.exception(30)) for future in futures}
    with pytest.raises(WriterStopped):
        writer.submit(registration(1), "a-engraver")


def test_a_delivery_that_fails_still_answers_everyone(start: Callable[..., Writer]) -> None:
    """Where handing over the answers fails once, those waiters get WriterStopped: their entries stand, their keys tell."""
    calls: list[int] = []

    def deliver(settled: list[Settled]) -> None:
        calls.append(len(settled))
        if len(calls) == 1:
            message = "delivery is broken"
            raise RuntimeError(message)
        settle_futures(settled)

    writer = start(deliver=deliver)
    assert isinstance(writer.submit(opening(), "a-lead").exception(30), WriterStopped)
    assert start().submit(opening(), "a-lead").result(30).repeated


def test_refusals_are_errors_of_this_project(writer: Writer) -> None:
    """Nothing but this project's errors reaches a waiter for a bad submission."""
    error = writer.submit(registration(1, lot="SL-NONE"), "a-engraver").exception(30)
    assert isinstance(error, LedgerError)


def test_a_book_begins_by_being_opened_for_its_own_origin(start: Callable[..., Writer]) -> None:
    """Entry 0 opens the book that the writer signs for; nothing comes before it, and it comes once."""
    writer = start()
    verifier = format_verifier(signer_from_seed("other.test", bytes(32)).verifier)
    other = said("o", {"kind": "book-opened", "at": AT, "origin": "other.test", "plant": "Other", "verifier": verifier})
    for submission in (line_start()[0], other):
        assert isinstance(writer.submit(submission, "a-lead").exception(30), RuleStands)
    assert 0 == writer.submit(opening(), "a-lead").result(30).index
    again = said("again", *msgspec.to_builtins(opening().records))
    assert isinstance(writer.submit(again, "a-lead").exception(30), Contradiction)


def test_the_last_checkpoint_is_stored_when_nobody_waits(
    store: Store, start: Callable[..., Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A writer that waits in vain for a while stores the checkpoint of its last group by itself."""
    monkeypatch.setattr(writer_module, "IDLE_S", 0.01)
    writer = start()
    writer.submit(opening(), "a-lead").result(30)
    stored = None
    for _ in range(10_000):
        with open_reader(store) as reader:
            stored = reader.head().checkpoint
        if stored is not None:
            break
    assert writer.checkpoint == stored


STATION = signer_from_seed("station.test", bytes(32), "station")


def _introduce() -> Submission:
    """The station's key may speak from here on."""
    line = format_verifier(STATION.verifier)
    record = {"kind": "key-introduced", "at": AT, "key": "station.test", "purpose": "station", "verifier": line}
    return said("station-key", record)


def _signed(number: int) -> tuple[Submission, str, bytes]:
    """A registration that the station sealed and signed; its envelope and its bytes."""
    sealed = seal_submission(ORIGIN, registration(number), counted_salts())
    envelope = sign_envelope("application/vnd.pourbook.said+json", sealed.said, STATION)
    signed = Signed(said=sealed.said, envelope=envelope, openings=sealed.openings)
    return Submission(key=f"ball-{number}", records=sealed.records, signed=signed), envelope, sealed.said


def test_a_signed_submission_stands_with_its_envelope(store: Store, writer: Writer) -> None:
    """What a station signed stands byte for byte, with its envelope, and says the same to the views."""
    writer.submit(_introduce(), "a-keeper").result(30)
    submission, envelope, said_bytes = _signed(3)
    entry = parse_entry(writer.submit(submission, "a-engraver").result(30).entry_bytes)
    with open_reader(store) as reader:
        unit = reader.one(Unit, "U-000003")
    assert unit is not None
    assert (envelope, said_bytes, "P000003") == (entry.signature, encode(said_fields(entry.said)), unit.serial)
    assert [] == compare_views(store)


def test_a_signature_needs_a_station_key_in_force(writer: Writer) -> None:
    """A key that the book never heard of, or that was revoked, signs nothing; the same body unsigned is taken."""
    with pytest.raises(SignatureRejected):
        writer.submit(_signed(3)[0], "a-engraver").result(30)
    writer.submit(_introduce(), "a-keeper").result(30)
    writer.submit(_signed(4)[0], "a-engraver").result(30)
    revoked = {"kind": "key-revoked", "at": AT, "key": "station.test", "reason": "stolen"}
    writer.submit(said("revoke", revoked), "a-keeper").result(30)
    with pytest.raises(SignatureRejected):
        writer.submit(_signed(5)[0], "a-engraver").result(30)
    assert not writer.submit(registration(5), "a-engraver").result(30).repeated
