"""A plant whose early entries are archived: dossiers, the entry page, erasures, the service's role, and work meanwhile."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread

import pytest

from ledger.application.proofs import check_book, entry_view
from ledger.application.watching import watched
from ledger.errors import NotFound
from ledger.store.archiving import archive_book
from ledger.store.engine import Store, open_store
from ledger.store.long_look import open_long_reader
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, corrected, erasure
from tests.application.wanted_dossiers import checked, closed, written
from tests.archived_book import every_read, open_ranged, write_book
from tests.contracts.test_entry_ranges import role_of
from tests.evidence.small_dossier import members
from tests.plant import ORIGIN, SIGNER, new_writer, registration
from tests.stores import fresh_database

LATER = 520
"""Entries after those of the balls, so that these lie in closed ranges."""


@pytest.fixture
def plant(postgres: str, tmp_path: Path) -> Iterator[Floor]:
    """Three balls of a closed lot and a note, far back in the book."""
    url = fresh_database(postgres)
    open_store(url, entry_range=256).close()
    floor = Floor(tmp_path, url=url)
    floor.line()
    for number in (1, 2, 3):
        floor.ball(f"U-{number}", f"P-{number}")
    closed(floor)
    for number in range(LATER):
        floor.say({"kind": "material-received", "at": at(200), "lot": f"DRUM-{number}", "material": "resin", "kg": "5"})
    yield floor
    floor.book.close()


def test_dossiers_are_the_same(plant: Floor, tmp_path: Path) -> None:
    """A dossier of archived balls is the same in every file, by threads and by a look that lasts, and it checks."""
    before = written(plant, lots=("SL-1",))
    assert members(before) == members(written(plant, lots=("SL-1",)))
    archive_book(plant.book.store, f"file://{tmp_path}/archive")
    after = written(plant, lots=("SL-1",))
    assert members(before) == members(after)
    assert 3 == checked(after).lots[0].count


def test_entries_are_shown_corrected_and_erased(plant: Floor, tmp_path: Path) -> None:
    """An archived entry is listed and shown, its sealed value is erased in the database, its fact is corrected."""
    with open_reader(plant.book.store) as reader:
        drum = int(plant.book.lot("DRUM").history[0].fact.partition(".")[0])
        shown = entry_view(reader, drum)
    archive_book(plant.book.store, f"file://{tmp_path}/archive")
    assert 256 == watched(plant.book).archived
    with open_reader(plant.book.store) as reader:
        assert (shown, "brought by Bob") == (entry_view(reader, drum), shown.openings["0/note"])
    plant.say(erasure(drum, "0/note"))
    objects = [file.read_bytes() for file in (tmp_path / "archive").rglob("*") if file.is_file()]
    assert (True, False) == (bool(objects), any(b"brought by Bob" in raw for raw in objects))
    with open_reader(plant.book.store) as reader:
        assert "0/note" not in entry_view(reader, drum).openings
    plant.say(corrected({"fact": plant.book.lot("DRUM-3").history[0].fact}))
    with pytest.raises(NotFound):
        plant.book.lot("DRUM-3")
    assert plant.book.check().entries > LATER


def test_the_service_s_role_reads_the_archive(postgres: str, tmp_path: Path) -> None:
    """The role that may change nothing reads archived entries through the whole, and goes on writing."""
    store = open_ranged(postgres)
    write_book(store)
    before = every_read(store)
    served = open_store(role_of(store, postgres))
    assert before == every_read(served)
    archive_book(store, f"file://{tmp_path}/archive")
    assert before == every_read(served)
    writer = new_writer(served)
    writer.start()
    writer.submit(registration(5_000), "a-1").result(30)
    writer.stop()
    with served.reading() as look:
        allowed = look.rows("SELECT relname FROM pg_class WHERE relname LIKE 'entry\\_%' AND relkind = 'r' "
                            "AND has_table_privilege(oid, 'SELECT, INSERT, UPDATE, DELETE, TRUNCATE')")  # fmt: skip
    assert [] == allowed
    served.close()
    store.close()


def test_stations_go_on_while_it_runs(postgres: str, tmp_path: Path) -> None:
    """Registrations and reads go on from before an archive begins until after it has ended, and nothing is lost."""
    store = open_ranged(postgres)
    write_book(store)
    before = every_read(store)
    writer = new_writer(store)
    writer.start()
    going, over = Event(), Event()
    entered: list[int] = []
    faults: list[BaseException] = []

    def work() -> None:
        try:
            for number in itertools.count(2_000):
                entered.append(writer.submit(registration(number), "a-engraver").result(60).index)
                _read_some(store)
                going.set()
                if over.is_set():
                    break
        except BaseException as error:  # noqa: BLE001  # told by the test
            faults.append(error)
            going.set()

    thread = Thread(target=work)
    thread.start()
    going.wait(60)
    archive_book(store, f"file://{tmp_path}/archive")
    over.set()
    thread.join()
    writer.stop()
    assert [] == faults
    assert list(range(900, 900 + len(entered))) == entered
    assert 900 + len(entered) == check_book(store, ORIGIN, [SIGNER.verifier]).entries
    again = every_read(store)
    assert before["single entries"] == again["single entries"][: 900 // 37 + 1]  # type: ignore[index]  # a list
    store.close()


def _read_some(store: Store) -> None:
    with open_long_reader(store) as reader:
        assert 300 == len(list(reader.entries(100, 400)))
    with open_reader(store) as reader:
        assert 2 == len(reader.entries_at([3, 300]))
