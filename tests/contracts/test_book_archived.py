"""A book whose closed ranges lie on object storage: read, proved, corrected, copied and made anew as before."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.backing_up import write_book_file
from ledger.application.proofs import check_book
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.tiles import entries_path, root_from_tiles
from ledger.errors import LedgerError, StoreDamaged, StoreError, StoreUnavailable, Unsupported
from ledger.store.archived_entries import Place
from ledger.store.archiving import Archived, archive_book
from ledger.store.copying import copy_book
from ledger.store.engine import Store, open_store
from ledger.store.entry_ranges import entry_ranges
from ledger.store.objects import Objects
from ledger.store.published import Published, put_published
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.tiles import StoredTiles
from tests.archived_book import SIZE, STOP, every_read, fill, open_ranged, write_book
from tests.contracts.test_triggers import refusal
from tests.object_store import BUCKET, object_server, use_server
from tests.plant import AT, ORIGIN, SIGNER, new_writer, registration, said
from tests.stores import every_row, fresh_database, fresh_file

_numbers = itertools.count(1)


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Object storage for the tests of this file."""
    with object_server() as address:
        yield address


@pytest.fixture
def folder(server: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of an empty folder."""
    use_server(monkeypatch, server)
    return f"s3://{BUCKET}/plant-{next(_numbers)}/book"


@pytest.fixture
def store(postgres: str) -> Iterator[Store]:
    """A store with ranges of 256 entries that holds a book."""
    opened = open_ranged(postgres)
    write_book(opened)
    yield opened
    opened.close()


def test_every_kind_of_read_gives_the_same(store: Store, folder: str) -> None:
    """After archiving, in a process that has read nothing yet, every read gives what it gave before, to the byte."""
    before = every_read(store)
    told: list[tuple[int, int]] = []
    done = archive_book(store, folder, progress=lambda *how: told.append(how))
    assert Archived(SIZE, published=False, before=0, stop=STOP) == done
    assert (SIZE, SIZE) == told[-1]
    again = open_store(store.url)
    with again.reading() as look:
        count = look.row('SELECT count(*) FROM "entry" WHERE "bytes" IS NULL')
        assert ((STOP,), [True, True, False, False]) == (count, [one.archived for one in entry_ranges(look)])
    assert before == every_read(again)
    assert Place(folder, STOP) == again.archive_place()
    again.close()


def test_the_book_is_checked_and_made_anew_from_the_archive(store: Store, folder: str) -> None:
    """A check of the whole book, a comparison of its views and a rebuild read the archived entries too."""
    archive_book(store, folder)
    report = check_book(store, ORIGIN, [SIGNER.verifier])
    assert (SIZE, True) == (report.entries, report.views_compared)
    assert [] == compare_views(store)
    assert SIZE == rebuild_views(store)
    assert [] == compare_views(store)


def test_an_archived_fact_is_corrected(store: Store, folder: str) -> None:
    """A correction reads the body that it replaces, and a key used long ago is answered with its entry."""
    first = entry_of(store, 20)
    archive_book(store, folder)
    writer = new_writer(store)
    writer.start()
    fix = {"kind": "correction", "at": AT, "changes": [{"fact": "20.1"}], "reason": "mistyped"}
    writer.submit(said("fix", fix), "a-lead").result(30)
    again = writer.submit(registration(11), "a-engraver").result(30)
    writer.stop()
    assert (20, True, first) == (again.index, again.repeated, again.entry_bytes)
    with open_reader(store) as reader:
        assert 1 == len(reader.facts_about("unit:U-000011"))
    assert SIZE + 1 == check_book(store, ORIGIN, [SIGNER.verifier]).entries


def entry_of(store: Store, index: int) -> bytes:
    """The bytes of an entry."""
    with open_reader(store) as reader:
        return reader.entry(index).bytes


def test_copies_and_backups_are_whole(store: Store, folder: str, tmp_path: Path, postgres: str) -> None:
    """A copy in a file, one on another server and a backup hold every entry, and name no archive."""
    before = every_read(store)
    archive_book(store, folder)
    for url in (fresh_file(tmp_path), fresh_database(postgres)):
        copy = open_store(url, entry_range=256)
        assert SIZE == copy_book(store, copy).size
        rebuild_views(copy)
        assert before == every_read(copy)
        assert None is copy.archive_place()
        copy.close()
    assert SIZE == write_book_file(store, tmp_path / "backup.sqlite").size


def test_a_changed_object_is_found_and_named(store: Store, folder: str) -> None:
    """A flipped byte in the bucket is told with the entry that it is in, by a single read and by a check of the book."""
    archive_book(store, folder)
    objects = Objects(folder)
    path = entries_path(1)
    raw = objects.get(path)
    assert raw is not None
    objects.replace(path, raw[:40] + bytes([raw[40] ^ 1]) + raw[41:])
    fresh = open_store(store.url)
    assert b'"index":300' in entry_of(fresh, 300)
    with pytest.raises(StoreDamaged, match="entry 256, tile/entries/001"):
        entry_of(fresh, 256)
    with pytest.raises(StoreDamaged, match="entry 256"):
        check_book(fresh, ORIGIN, [SIGNER.verifier], views=False)
    for other in (raw[:-1], b"", raw + b"\0\1x"):
        objects.replace(path, other)
        again = open_store(store.url)
        with pytest.raises(StoreDamaged, match="entry 300, tile/entries/001"):
            entry_of(again, 300)
        again.close()
    fresh.close()


def test_a_store_that_cannot_be_reached_is_told(store: Store, folder: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the bucket away, archived entries cannot be read, the others can, and the book goes on."""
    archive_book(store, folder)
    use_server(monkeypatch, "http://127.0.0.1:1")
    away = open_store(store.url)
    with pytest.raises(StoreUnavailable, match="object storage does not answer") as caught:
        entry_of(away, 3)
    assert "invented" not in str(caught.value) + caught.value.mend
    assert entry_of(away, STOP)
    writer = new_writer(away)
    writer.start()
    fill(writer, SIZE, 5)
    repeated = writer.submit(registration(11), "a-engraver")
    fresh = writer.submit(registration(SIZE + 6), "a-engraver")
    with pytest.raises(StoreUnavailable):
        repeated.result(60)
    assert SIZE + 5 == fresh.result(60).index
    writer.stop()
    away.close()


def test_a_second_run_takes_what_was_closed_since(store: Store, folder: str) -> None:
    """A run again does nothing; after more entries the next ranges go, and one folder holds all."""
    archive_book(store, folder)
    assert Archived(SIZE, published=False, before=STOP, stop=STOP) == archive_book(store, folder)
    writer = new_writer(store)
    writer.start()
    fill(writer, SIZE, 300)
    writer.stop()
    assert Archived(1200, published=False, before=STOP, stop=768) == archive_book(store, folder)
    assert 1200 == check_book(store, ORIGIN, [SIGNER.verifier]).entries


def test_only_what_was_published_is_taken_out(store: Store, folder: str) -> None:
    """Where checkpoints are published, the newest of them says how far an archive goes."""
    note = published_note(store, 400)
    put_published(store, Published(400, note, 5))
    assert Archived(400, published=True, before=0, stop=256) == archive_book(store, folder)
    assert note == Objects(folder).get("checkpoint")


def published_note(store: Store, size: int) -> bytes:
    """A signed checkpoint of an earlier size."""
    with store.reading() as look:
        return sign_checkpoint(ORIGIN, size, root_from_tiles(StoredTiles(look), size), [SIGNER])


def test_another_folder_gets_everything(store: Store, folder: str) -> None:
    """An archive moves: the new folder gets all, read from the one before, and the store reads from it afterwards."""
    archive_book(store, folder)
    assert STOP == archive_book(store, f"{folder}-new").stop
    old = Objects(folder)
    old.replace(entries_path(0), b"gone")
    fresh = open_store(store.url)
    assert (f"{folder}-new", True) == ((place := fresh.archive_place()) and place.url, bool(entry_of(fresh, 3)))
    fresh.close()


@pytest.mark.parametrize("path", ["tile/entries/001", "tile/0/002", "tile/1/000.p/3", "checkpoint"])
def test_an_object_of_another_is_never_written_over(store: Store, folder: str, path: str) -> None:
    """Where other bytes stand in the folder, they stay, the run is refused, and nothing is taken out."""
    Objects(folder).replace(path, b"another's")
    before = every_row(store)
    with pytest.raises(StoreError, match="another"):
        archive_book(store, folder)
    assert (b"another's", before) == (Objects(folder).get(path), every_row(store))


def test_a_store_that_is_wrong_is_not_archived(store: Store, folder: str) -> None:
    """An entry that is not what its hash says is found before anything is taken out."""
    with store.writing() as transaction:
        transaction.run('ALTER TABLE "entry" DISABLE TRIGGER "entry_never_updated"')
        transaction.run('UPDATE "entry" SET "bytes" = "bytes" || \' \'::bytea WHERE "index" = 700')
        transaction.run('ALTER TABLE "entry" ENABLE TRIGGER "entry_never_updated"')
    before = every_row(store)
    with pytest.raises(LedgerError, match="not that of the entry"):
        archive_book(store, folder)
    assert before == every_row(store)


def test_an_archived_range_is_guarded(store: Store, folder: str) -> None:
    """Its rows are never changed, deleted or emptied, it takes no bytes, and a look that is older finds its rows."""
    with store.reading() as look:
        assert (1,) == look.row("SELECT 1")
        archive_book(store, folder)
        assert (STOP,) == look.row('SELECT count(*) FROM "entry" WHERE "bytes" IS NULL')
    for statement in (
        'UPDATE "entry_0" SET "bytes" = "hash" WHERE "index" = 3',
        'DELETE FROM "entry" WHERE "index" = 3',
        'TRUNCATE "entry_0"',
    ):
        assert (refusal(store, statement) or "").startswith(("an entry", "entry is never"))
    with store.reading() as look:
        assert None is look.row("SELECT 1 FROM pg_tables WHERE tablename ~ '_(beside|before)$'")
        rights = look.rows(
            "SELECT relname FROM pg_class WHERE relname ~ '^entry' AND relacl::text ~ '[a-z_]+=[a-z]+/' "
        )
    assert [] == [name for (name,) in rights if name != "entry"]


def test_a_look_at_the_entries_is_waited_for_no_longer_than_asked(store: Store, folder: str) -> None:
    """While somebody looks, the exchange gives way; a writer goes on, and a later run does it."""
    writer = new_writer(store)
    writer.start()
    with store.reading() as look:
        assert look.row('SELECT 1 FROM "entry" WHERE "index" = 1')
        with pytest.raises(StoreUnavailable, match="being looked at"):
            archive_book(store, folder, patience_s=0.5)
        fill(writer, SIZE, 3)
    writer.stop()
    assert STOP == archive_book(store, folder).stop


def test_a_file_and_an_empty_book_are_not_archived(tmp_path: Path, postgres: str, folder: str) -> None:
    """The reason is said plainly."""
    file = open_store(fresh_file(tmp_path))
    with pytest.raises(Unsupported, match="PostgreSQL"):
        archive_book(file, folder)
    file.close()
    empty = open_ranged(postgres)
    with pytest.raises(StoreError, match="no checkpoint yet"):
        archive_book(empty, folder)
    empty.close()
