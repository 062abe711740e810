"""A library that keeps streams of events, beside the writer; and what the trees of another give (`ops.bench.peer_trees`).

The recorder of ``eventsourcing`` inserts as many rows of as many bytes, with its own unique keys and nothing else; ours
are whole registrations, so the row says what the peer leaves out.
"""

from __future__ import annotations

import importlib
import time
import uuid
from collections.abc import Callable
from typing import Any

from ops.bench.bulk import answered_seconds
from ops.bench.drivers import one_value
from ops.bench.field import Field
from ops.bench.figures import Row, rate, ratios
from ops.bench.peer_trees import measure_trees
from ops.bench.plant import open_plant, submissions
from ops.bench.raw_route import GROUP_LIMIT
from ops.bench.storage import Storage

_ENTRY_BYTES = 'SELECT CAST(avg(length("bytes")) AS integer) FROM (SELECT "bytes" FROM "entry" ORDER BY "index" DESC LIMIT 100) AS newest'
_TOPIC = "pourbook:Registered"


def measure_peers(field: Field) -> list[Row]:
    """The rows of the table; one line for a library that is not installed."""
    return [*_measured("eventsourcing", _events, field), *_measured("pymerkle", measure_trees, field)]


def _measured(package: str, measure: Callable[[Field], list[Row]], field: Field) -> list[Row]:
    try:
        importlib.import_module(package)
        return measure(field)
    except ImportError as error:
        # The peer's recorder for PostgreSQL needs one more package.
        return [
            Row(
                what=f"beside {package}",
                measured=f"not measured: package {error.name} is not installed (see ops/dev.lock)",
            )
        ]


def _events(field: Field) -> list[Row]:
    """Appending, one a commit and in groups: ours in turn with the peer's."""
    size = one_value(field.plant.url, _ENTRY_BYTES)
    rows = []
    for together, count in ((1, max(1, field.sizes.bulk // 10)), (GROUP_LIMIT, field.sizes.bulk)):
        ours: list[float] = []
        theirs: list[float] = []
        for _ in range(field.sizes.rounds):
            theirs.append(count / _recorded(field.storage, size, count, together))
            ours.append(count / _registered(field, count, together))
        name = "one a commit" if together == 1 else f"in groups of up to {together}"
        rows.append(
            Row(what=f"registrations appended, {name}: checks, view rows, chain, tree and receipt; {size} bytes an entry",
                measured=rate(ours),
                floor=f"eventsourcing's recorder, as many events of as many bytes, without any of these {rate(theirs)}",
                ratio=ratios(ours, theirs)[1])
        )  # fmt: skip
    return rows


def _registered(field: Field, count: int, together: int) -> float:
    """Seconds for so many registrations through the writer, in groups of at most so many."""
    said, keeper = submissions(field.plant, field.take(count), count), field.plant.keeper()
    book = open_plant(field.plant)
    book._writer._limit = together  # noqa: SLF001  # the size of a group is what is measured
    try:
        return answered_seconds(book, said, keeper)
    finally:
        book.close()


def _recorded(storage: Storage, size: int, count: int, together: int) -> float:
    """Seconds for so many events of the peer, in batches; SQLite's own setting is the full flush that ours is."""
    event: Any = importlib.import_module("eventsourcing.persistence").StoredEvent
    folder = storage.folder / "peer"
    recorder, close = _recorder(storage, storage.fresh(folder))
    stream, state = uuid.UUID(int=1), bytes(range(256)) * (size // 256 + 1)
    events = [event(stream, version, _TOPIC, state[:size]) for version in range(1, count + 1)]
    try:
        began = time.perf_counter()
        for start in range(0, count, together):
            recorder.insert_events(events[start : start + together])
        return time.perf_counter() - began
    finally:
        close()
        storage.remove(folder)


def _recorder(storage: Storage, url: str) -> tuple[Any, Callable[[], None]]:
    """The peer's recorder of an application over an empty store, and what closes it."""
    library: Any = importlib.import_module(f"eventsourcing.{'sqlite' if storage.name == 'sqlite' else 'postgres'}")
    if storage.name == "sqlite":
        datastore = library.SQLiteDatastore(url.removeprefix("sqlite:///"))
        recorder = library.SQLiteApplicationRecorder(datastore)
    else:
        from psycopg.conninfo import conninfo_to_dict  # noqa: PLC0415  # measuring files does without it

        parts = conninfo_to_dict(url)
        datastore = library.PostgresDatastore(
            dbname=parts["dbname"], host=parts["host"], port=parts.get("port", "5432"), user=parts["user"], password=""
        )
        recorder = library.PostgresApplicationRecorder(datastore, events_table_name="stored_events")
    recorder.create_table()
    return recorder, datastore.close
