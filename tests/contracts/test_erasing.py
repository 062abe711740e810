"""Erasures in a store: what is deleted, when, what stays answered, and what the whole check says of it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.engine import make_url

from ledger.application.proofs import check_book, entry_view
from ledger.book.receipt import check_receipt
from ledger.errors import Contradiction, KeyReused, RuleStands, SealedFieldMismatch, StoreDamaged, UnknownSubject
from ledger.line.erasure_rows import ErasedField, ErasedName
from ledger.store import accounts, writer
from ledger.store.engine import Store
from ledger.store.erasing import Erasing
from ledger.store.openings import openings_between
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.writer import Writer
from tests.contracts.gate import in_one_group
from tests.plant import AT, ORIGIN, SIGNER, VERIFIER, erasure, opening, said
from tests.stores import every_row

WORDS = "the words of a person, as they were said"


def noted(key: str = "noted", words: str = WORDS) -> Any:
    """A drum with a note and a supplier."""
    drum = {"kind": "material-received", "at": AT, "lot": key.upper(), "material": "Resin", "kg": "5"}
    return said(key, {**drum, "supplier": "Acme", "note": words})


def name_erasure(account: str) -> dict[str, Any]:
    """An erasure of a name."""
    return {"kind": "name-erasure", "at": AT, "account": account, "basis": "expiry", "reason": "left-us"}


def paths(store: Store, index: int) -> list[str]:
    """The fields of an entry that can be opened."""
    with store.reading() as transaction:
        return [one.opening.path for one in openings_between(transaction, index, index + 1)]


def check(store: Store) -> int:
    """Check the whole book; how many openings it has."""
    return check_book(store, ORIGIN, [SIGNER.verifier]).openings


def test_an_erased_opening_is_gone_and_the_book_says_so(store: Store, writer: Writer) -> None:
    """Its value is in no row; the entry shows who erased what; book, views, receipt and the withheld opening are right."""
    index = writer.submit(noted(), "a-lead").result(30).index
    before = check(store)
    assert ["opening"] == [table for table, rows in every_row(store).items() if WORDS in repr(rows)]
    erased = writer.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
    with open_reader(store) as reader:
        view = entry_view(reader, index)
    assert ({"0/note": erased.addresses[0]}, {"0/supplier": "Acme"}) == (view.erased, view.openings)
    assert WORDS not in repr(every_row(store))
    assert (before - 1, []) == (check(store), compare_views(store))
    rebuild_views(store)
    with open_reader(store) as reader:
        assert {"0/note": erased.addresses[0]} == entry_view(reader, index).erased
    assert erased.index == check_receipt(erased.receipt, erased.entry_bytes, [VERIFIER], ORIGIN).index


def test_the_same_request_is_still_answered_with_its_entry(store: Store, writer: Writer) -> None:
    """A retry after the erasure gives the entry as it stands, without the words, and no opening comes back."""
    first = writer.submit(noted(), "a-lead").result(30)
    erased = writer.submit(said("erase", erasure(first.index, "0/note")), "a-lead").result(30)
    again = writer.submit(noted(), "a-lead").result(30)
    assert (first.index, True, first.entry_bytes) == (again.index, again.repeated, again.entry_bytes)
    assert WORDS.encode() not in again.entry_bytes
    with pytest.raises(KeyReused):
        writer.submit(noted(words="other words"), "a-lead").result(30)
    once_more = writer.submit(said("erase", erasure(first.index, "0/note")), "a-lead").result(30)
    assert (erased.index, True) == (once_more.index, once_more.repeated)
    assert (["0/supplier"], True) == (paths(store, first.index), check(store) > 0)


def test_a_refused_erasure_deletes_nothing(store: Store, writer: Writer) -> None:
    """One field that may not be erased keeps all the others; a second erasure names the first."""
    index = writer.submit(noted(), "a-lead").result(30).index
    for fields, error in (
        (("0/note", "0/supplier"), RuleStands),
        (("0/note", "0/kg"), UnknownSubject),
        (("0/note", "0/note"), Contradiction),
    ):
        with pytest.raises(error):
            writer.submit(said(f"e-{error.__name__}", erasure(index, *fields)), "a-lead").result(30)
    assert ["0/note", "0/supplier"] == paths(store, index)
    erased = writer.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
    with pytest.raises(Contradiction, match=f"fact {erased.addresses[0]}"):
        writer.submit(said("again", erasure(index, "0/note")), "a-lead").result(30)


def test_a_submission_that_fails_after_its_erasure_deletes_nothing(store: Store, writer: Writer) -> None:
    """What is said together stands together: with another record refused, the opening stays."""
    index = writer.submit(noted(), "a-lead").result(30).index
    lifted = {"kind": "hold-lifted", "at": AT, "hold": "NONE", "reason": "found-good"}
    with pytest.raises(UnknownSubject):
        writer.submit(said("both", erasure(index, "0/note"), lifted), "a-lead").result(30)
    assert ["0/note", "0/supplier"] == paths(store, index)


def test_an_erasure_sees_what_waits_before_it(store: Store, start: Callable[..., Writer]) -> None:
    """Taken together with the submissions before it, it erases what they bring; the second of two is refused."""
    waiting = [
        noted("first"), noted("second"), said("erase", erasure(2, "0/note")), said("twice", erasure(2, "0/note")),
        noted("third"), said("both", erasure(1, "0/note"), erasure(5, "0/note")),
    ]  # fmt: skip
    futures, _ = in_one_group(start, waiting)
    assert [1, 2, 3] == [future.result(0).index for future in futures[:3]]
    assert (Contradiction, RuleStands) == (type(futures[3].exception(0)), type(futures[5].exception(0)))
    assert 4 == futures[4].result(0).index
    assert (["0/note", "0/supplier"], ["0/supplier"]) == (paths(store, 1), paths(store, 2))
    assert (True, []) == (check(store) > 0, compare_views(store))


def test_two_writers_do_not_erase_twice(store: Store, start: Callable[..., Writer]) -> None:
    """Each sees what the other erased."""
    one = start()
    one.submit(opening(), "a-lead").result(30)
    index = one.submit(noted(), "a-lead").result(30).index
    two = start()
    two.submit(said("erase", erasure(index, "0/note")), "a-two").result(30)
    with pytest.raises(Contradiction):
        one.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)


def test_a_name_is_erased(store: Store, writer: Writer) -> None:
    """The id, its roles and its tokens stay, who it was does not, and the book says so; nobody's name is refused."""
    account = accounts.add_account(store, "A person", ["quality"], 5)
    token = accounts.issue_token(store, account.account, 6)
    entered = writer.submit(said("name", name_erasure(account.account)), account.account).result(30)
    assert account._replace(name=None) == accounts.account_of(store, token)
    assert "A person" not in repr(every_row(store))
    with open_reader(store) as reader:
        row = reader.one(ErasedName, account.account)
    assert row == ErasedName(account=account.account, address=entered.addresses[0])
    for wrong, error in ((account.account, Contradiction), ("a-nobody", UnknownSubject)):
        with pytest.raises(error):
            writer.submit(said(f"name-{wrong}", name_erasure(wrong)), "a-lead").result(30)
    later = accounts.add_account(store, "Another", ["quality"], 7)
    writer.submit(said("later", name_erasure(later.account)), "a-lead").result(30)
    assert (True, []) == (check(store) > 0, compare_views(store))


def test_an_opening_that_went_away_without_an_erasure_is_found(store: Store, writer: Writer) -> None:
    """An erased opening is not a missing one; nor is one that came back."""
    index = writer.submit(noted(), "a-lead").result(30).index
    with store.reading() as transaction:
        kept = transaction.row('SELECT * FROM "opening" WHERE "index" = ? AND "path" = \'0/note\'', (index,))
    assert kept is not None
    writer.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
    check(store)
    with store.writing() as transaction:
        transaction.run('INSERT INTO "opening" VALUES (?, ?, ?, ?, ?, ?)', kept)
    with pytest.raises(SealedFieldMismatch, match=f"entry {index}, 0/note: an opening is there that fact"):
        check(store)
    with store.writing() as transaction:
        transaction.run('DELETE FROM "opening" WHERE "sealing" = \'erasable\'')
    with pytest.raises(SealedFieldMismatch, match="missing that no erasure names"):
        check(store)


def test_a_name_that_came_back_is_found(store: Store, writer: Writer) -> None:
    """The check of the whole book looks at names too."""
    account = accounts.add_account(store, "A person", ["quality"], 5)
    writer.submit(said("name", name_erasure(account.account)), "a-lead").result(30)
    check(store)
    with store.writing() as transaction:
        transaction.run('UPDATE "account" SET "name" = \'A person\'')
    with pytest.raises(StoreDamaged, match=account.account):
        check(store)


def test_an_opening_that_goes_away_under_an_erasure_takes_it_back(
    store: Store, start: Callable[..., Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is entered when what was checked is not there to be deleted."""
    one = start()
    one.submit(opening(), "a-lead").result(30)
    index = one.submit(noted(), "a-lead").result(30).index
    delete = Erasing.delete

    def late(self: Erasing, transaction: Any, records: Any) -> None:
        transaction.run('DELETE FROM "opening" WHERE "sealing" = \'erasable\'')
        delete(self, transaction, records)

    monkeypatch.setattr(Erasing, "delete", late)
    with pytest.raises(StoreDamaged, match="while it was erased"):
        one.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
    assert ["0/note", "0/supplier"] == paths(store, index)
    with open_reader(store) as reader:
        assert (None, 2) == (reader.one(ErasedField, f"{index}/0/note"), reader.head().size)


def pending(store: Store) -> bool:
    """Whether the files are still to be cleaned."""
    with open_reader(store) as reader:
        return reader.setting("erased-not-cleaned") is not None


def wait_until_clean(store: Store) -> None:
    """Wait for the writer to clean the files while nobody says anything."""
    tries = itertools.count()
    while pending(store):
        assert next(tries) < 100_000, "the files were not cleaned"


def file_bytes(url: str) -> bytes:
    """Every byte of a SQLite store."""
    file = Path(make_url(url).database or "")
    return b"".join(part.read_bytes() for part in file.parent.glob(f"{file.name}*"))


def test_the_files_are_cleaned_right_after(store: Store, start: Callable[..., Writer], url: str) -> None:
    """Once the writer stops, nothing is left to be done; on SQLite no byte of the words is in its files."""
    one = start()
    one.submit(opening(), "a-lead").result(30)
    index = one.submit(noted(), "a-lead").result(30).index
    if store.dialect.name == "sqlite":
        assert WORDS.encode() in file_bytes(url)
    one.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
    one.stop()
    assert not pending(store)
    if store.dialect.name == "sqlite":
        assert WORDS.encode() not in file_bytes(url)


def test_cleaning_is_remembered_over_a_restart(
    store: Store, start: Callable[..., Writer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A service that ends between the commit and the cleaning cleans when it runs again, though nobody says anything."""
    one = start()
    one.submit(opening(), "a-lead").result(30)
    index = one.submit(noted(), "a-lead").result(30).index
    with monkeypatch.context() as patched:
        patched.setattr(type(store.dialect), "clean_erased", lambda *_: False)
        one.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
        one.stop()
    assert pending(store)
    monkeypatch.setattr(writer, "IDLE_S", 0.01)
    two = start()
    wait_until_clean(store)
    two.stop()
    assert ["0/supplier"] == paths(store, index)


def test_a_reader_puts_the_cleaning_off_and_stops_nobody(
    store: Store, start: Callable[..., Writer], url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While someone looks at the store as it was, the erasure is answered and others go on; then the files are cleaned."""
    monkeypatch.setattr(writer, "IDLE_S", 0.01)
    one = start()
    one.submit(opening(), "a-lead").result(30)
    index = one.submit(noted(), "a-lead").result(30).index
    with store.reading() as transaction:
        assert 2 == len(openings_between(transaction, index, index + 1))
        one.submit(said("erase", erasure(index, "0/note")), "a-lead").result(30)
        one.submit(noted("other", "other words"), "a-lead").result(30)
        assert (2, ["0/supplier"]) == (len(openings_between(transaction, index, index + 1)), paths(store, index))
        assert pending(store) or store.dialect.name == "postgresql"
    wait_until_clean(store)
    one.stop()
    if store.dialect.name == "sqlite":
        assert WORDS.encode() not in file_bytes(url)
