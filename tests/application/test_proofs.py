"""A check of the whole book finds each thing that can be wrong with it, and the book shows proofs of itself."""

# ruff: noqa: S608  # the statements are written here, numbers and all

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from ledger.application import chunk_check
from ledger.application.pourbook import Pourbook
from ledger.application.proofs import check_book
from ledger.book import merkle
from ledger.book.checkpoint import check_checkpoint, parse_checkpoint, sign_checkpoint
from ledger.book.receipt import check_receipt
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.book.tiles import decode_entries_tile
from ledger.errors import (
    ChainBroken,
    LedgerError,
    MalformedNote,
    NotFound,
    RootMismatch,
    SealedFieldMismatch,
    SignatureRejected,
    StoreDamaged,
    ViewMismatch,
)  # fmt: skip
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.store.engine import open_store
from ops import several_hands
from ops.several_hands import SeveralHands
from tests.application.floor import ORIGIN, Floor, at, corrected, erasure, held, inspected
from tests.plant import said
from tests.whole.damage import drop_triggers

SIZE = 300
VERIFIER = signer_from_seed(ORIGIN, hashlib.sha256(b"floor log").digest(), "checkpoint").verifier


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Floor:
    """A book of 300 entries, with sealed fields, a hold and a correction in it."""
    floor = Floor(tmp_path_factory.mktemp("sound"))
    floor.line()
    first = floor.ball("U-1", "P-1")
    floor.say(held("H-1", node="lot:DRUM"))
    floor.say(corrected({"fact": first.addresses[1], "replacement": inspected("U-1", 80, mass="15.2")}))
    checked = {"kind": "gauge-checked", "at": at(90), "gauge": "G-MASS", "master": "MASTER", "good": True}
    size = floor.book.check().entries
    futures = [floor.book.submit(said(f"check-{n}", checked), floor.lead) for n in range(size, SIZE)]
    for future in futures:
        future.result(30)
    floor.book.close()
    return floor


@pytest.fixture
def copy(sound: Floor, tmp_path: Path) -> Path:
    """A copy of the book whose triggers someone took away."""
    file = tmp_path / "copy.db"
    shutil.copy(sound.url.removeprefix("sqlite:///"), file)
    drop_triggers(file)
    return file


def check(file: Path, *, views: bool = True, hands: Hands = ONE_HAND) -> None:
    """Check the book in a file as it is."""
    store = open_store(f"sqlite:///{file}", migrate=False)
    try:
        check_book(store, ORIGIN, [VERIFIER], views=views, hands=hands)
    finally:
        store.close()


def told(file: Path, hands: Hands) -> str:
    """What a check says that is wrong with it."""
    with pytest.raises(LedgerError) as found:
        check(file, hands=hands)
    return f"{type(found.value).__name__}: {found.value}"


def execute(statement: str, *values: object) -> Callable[[Path], None]:
    """Damage: one statement that changes something."""

    def damage(file: Path) -> None:
        with closing(sqlite3.connect(file, isolation_level=None)) as connection:
            assert connection.execute(statement, values).rowcount > 0

    return damage


def note(size: int, *, right: bool, key: bytes = b"floor log") -> Callable[[Path], None]:
    """Damage: a signed checkpoint of another key, or over another tree."""

    def damage(file: Path) -> None:
        with closing(sqlite3.connect(file, isolation_level=None)) as connection:
            hashes = [row[0] for row in connection.execute('SELECT "hash" FROM "entry" ORDER BY "index"')][:size]
            tree = merkle.root(hashes if right else hashes[::-1])
            signer = signer_from_seed(ORIGIN, hashlib.sha256(key).digest(), "checkpoint")
            signed = sign_checkpoint(ORIGIN, size, tree, [signer])
            connection.execute('UPDATE "head" SET "checkpoint" = ?', (signed,))

    return damage


LAST = SIZE - 1
DAMAGES: dict[str, tuple[Callable[[Path], None], type[LedgerError], str]] = {
    "entry changed": (
        execute('UPDATE "entry" SET "bytes" = CAST(replace("bytes", \'MS-1\', \'MS-2\') AS BLOB) WHERE "index" = 13'),
        RootMismatch, "entry 13",
    ),
    "last entry changed": (
        execute(f'UPDATE "entry" SET "bytes" = CAST(replace("bytes", \'MASTER\', \'MISTER\') AS BLOB) '
                f'WHERE "index" = {LAST}'),
        RootMismatch, f"entry {LAST}",
    ),
    "entry changed with its hash": (
        execute('UPDATE "entry" SET "bytes" = x\'7b7d\', "hash" = x\'00\' WHERE "index" = 13'), LedgerError, "13",
    ),
    "hash changed": (execute('UPDATE "entry" SET "hash" = zeroblob(32) WHERE "index" = 5'), RootMismatch, "entry 5"),
    "entry taken away": (execute('DELETE FROM "entry" WHERE "index" = 7'), ChainBroken, "7"),
    "last entry taken away": (execute(f'DELETE FROM "entry" WHERE "index" = {LAST}'), RootMismatch, "missing"),
    "entry added": (
        execute(f'INSERT INTO "entry" SELECT {SIZE}, "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" = 1'),
        StoreDamaged, "entry",
    ),
    "recorded instant changed": (
        execute('UPDATE "entry" SET "recorded_ms" = 1 WHERE "index" = 4'), StoreDamaged, "entry 4",
    ),
    "entry is a number": (execute('UPDATE "entry" SET "bytes" = 7 WHERE "index" = 4'), StoreDamaged, "cannot be read"),
    "opening is a number": (execute('UPDATE "opening" SET "value" = 7'), StoreDamaged, "cannot be read"),
    "tile is a number": (execute('UPDATE "tile" SET "hashes" = 7 WHERE "level" = 1'), StoreDamaged, "cannot be read"),
    "head shortened": (execute('UPDATE "head" SET "size" = "size" - 1'), RootMismatch, "size"),
    "head's hash changed": (execute('UPDATE "head" SET "last_hash" = zeroblob(32)'), RootMismatch, "head"),
    "head's instant changed": (execute('UPDATE "head" SET "recorded_ms" = 1'), RootMismatch, "head"),
    "checkpoint is no note": (execute('UPDATE "head" SET "checkpoint" = x\'41\''), MalformedNote, ""),
    "checkpoint by another key": (note(SIZE, right=True, key=b"other"), SignatureRejected, ""),
    "checkpoint over another tree": (note(200, right=False), RootMismatch, "size 200"),
    "checkpoint beyond the book": (note(SIZE + 1, right=False), RootMismatch, f"size {SIZE + 1}"),
    "opening changed": (
        execute('UPDATE "opening" SET "value" = CAST(\'"Ecma"\' AS BLOB) WHERE "value" = CAST(\'"Acme"\' AS BLOB)'),
        SealedFieldMismatch, "supplier",
    ),
    "salt changed": (
        execute('UPDATE "opening" SET "salt" = zeroblob(32) WHERE "sealing" = \'erasable\''),
        SealedFieldMismatch, "note",
    ),
    "opening unreadable": (
        execute('UPDATE "opening" SET "value" = x\'ff\' WHERE "sealing" = \'erasable\''), SealedFieldMismatch, "read",
    ),
    "opening kept as another sort": (
        execute('UPDATE "opening" SET "sealing" = \'withheld\' WHERE "sealing" = \'erasable\''),
        SealedFieldMismatch, "another sort",
    ),
    "opening that is never erased taken away": (
        execute('DELETE FROM "opening" WHERE "value" = CAST(\'"Acme"\' AS BLOB)'), SealedFieldMismatch, "missing",
    ),
    "erasable opening taken away": (
        execute('DELETE FROM "opening" WHERE "sealing" = \'erasable\''), SealedFieldMismatch, "no erasure names",
    ),
    "opening of nothing": (
        execute('INSERT INTO "opening" SELECT 3, "path", "position", "sealing", "salt", "value" FROM "opening" LIMIT 1'),
        SealedFieldMismatch, "entry 3",
    ),
    "opening of no entry": (
        execute('INSERT INTO "opening" SELECT 9999, "path", "position", "sealing", "salt", "value" '
                'FROM "opening" LIMIT 1'),
        StoreDamaged, "opening",
    ),
    "tile changed": (
        execute('UPDATE "tile" SET "hashes" = zeroblob(8192) WHERE "level" = 0'), RootMismatch, "tile level 0",
    ),
    "tile taken away": (execute('DELETE FROM "tile" WHERE "level" = 0'), RootMismatch, "tile level 0"),
    "upper tile changed": (
        execute('UPDATE "tile" SET "hashes" = zeroblob(32) WHERE "level" = 1'), RootMismatch, "tile level 1",
    ),
    "tile added": (
        execute('INSERT INTO "tile" SELECT 0, 9, "width", "hashes" FROM "tile" WHERE "level" = 0'), RootMismatch, "tiles",
    ),
    "used key leads elsewhere": (
        execute('UPDATE "request" SET "index" = 3 WHERE "index" = 20'), StoreDamaged, "entry 20",
    ),
    "used key taken away": (execute('DELETE FROM "request" WHERE "index" = 20'), StoreDamaged, "entry 20"),
    "used key added": (
        execute('INSERT INTO "request" SELECT \'x\', "author", "index", "digest" FROM "request" LIMIT 1'),
        StoreDamaged, "request",
    ),
    "view row changed": (execute('UPDATE "unit" SET "serial" = \'P-2\''), ViewMismatch, "view unit"),
    "hold lifted by hand": (execute('UPDATE "hold" SET "open" = 0'), ViewMismatch, "view hold"),
    "view row taken away": (execute('DELETE FROM "descent" WHERE "child" = \'SL-1\''), ViewMismatch, "view descent"),
}  # fmt: skip


@pytest.mark.parametrize("what", DAMAGES)
def test_each_damage_is_found(copy: Path, what: str) -> None:
    """Whatever was changed by hand is found, by its own error, and named."""
    damage, error, named = DAMAGES[what]
    damage(copy)
    with pytest.raises(error, match=named or None):
        check(copy)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no process can be copied here")
@pytest.mark.parametrize("what", DAMAGES)
def test_several_processes_find_what_one_finds(copy: Path, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first damage is the first, whoever reads the entries."""
    monkeypatch.setattr(chunk_check, "CHUNK", 40)
    monkeypatch.setattr(several_hands, "FEWEST", 1)
    check(copy, hands=SeveralHands(3))
    DAMAGES[what][0](copy)
    assert told(copy, ONE_HAND) == told(copy, SeveralHands(3))


@pytest.mark.parametrize("what", ["view row changed", "hold lifted by hand", "view row taken away"])
def test_views_may_be_left_out(copy: Path, what: str) -> None:
    """A check of the truth alone says nothing of the views."""
    DAMAGES[what][0](copy)
    check(copy, views=False)


def test_a_sound_book_is_reported(sound: Floor) -> None:
    """Entries, root, openings and checkpoint of a sound book are told, and its progress chunk by chunk."""
    book = sound.opened()
    told: list[tuple[int, int]] = []
    report = book.check(progress=lambda done, size: told.append((done, size)))
    hashes = [merkle.leaf_hash(book.entry_bytes(index)) for index in range(SIZE)]
    assert (SIZE, merkle.root(hashes).hex(), SIZE, True) == (
        report.entries, report.root, report.checkpoint_size, report.views_compared,
    )  # fmt: skip
    assert ([(SIZE, SIZE)] * 2, True) == (told, report.openings > 5)
    book.close()


def test_an_erased_field_is_no_damage(ready: Floor) -> None:
    """A book in which a person's words were erased is sound, with one opening less, and its entry shows no words."""
    before = ready.book.check().openings
    index = next(number for number in range(20) if "0/note" in ready.book.entry(number).openings)
    assert "brought by Bob" == ready.book.entry(index).openings["0/note"]
    erased = ready.say(erasure(index, "0/note"))
    assert before - 1 == ready.book.check().openings
    view = ready.book.entry(index)
    assert {"0/note": erased.addresses[0]} == view.erased
    assert (False, ["sealed"]) == ("0/note" in view.openings, list(view.entry["said"]["records"][0]["note"]))
    assert merkle.leaf_hash(ready.book.entry_bytes(index)).hex() == view.hash


def test_receipts_tiles_and_consistency_agree_with_the_checkpoint(sound: Floor) -> None:
    """What the book shows of itself is proved by its signed checkpoint."""
    book = sound.opened()
    checkpoint = check_checkpoint(book.checkpoint(), [VERIFIER], ORIGIN)
    for index in (0, 255, 256, LAST):
        check_receipt(book.receipt(index), book.entry_bytes(index), [format_verifier(VERIFIER)])
    raws = decode_entries_tile(book.entries_tile(0, 256))
    assert [book.entry_bytes(index) for index in range(256)] == raws
    assert b"".join(merkle.leaf_hash(raw) for raw in raws) == book.tile(0, 0, 256)
    old = merkle.root([merkle.leaf_hash(raw) for raw in raws][:100])
    merkle.check_consistency(100, old, SIZE, checkpoint.root_hash, book.consistency(100, SIZE))
    for missing in (lambda: book.entries_tile(1, 45), lambda: book.entry(SIZE), lambda: book.receipt(SIZE)):
        with pytest.raises(NotFound):
            missing()
    book.close()


def test_the_newest_checkpoint_is_shown(floor: Floor) -> None:
    """A checkpoint covers what this process entered at once, and what another entered once that is stored."""
    other: Pourbook = floor.opened()
    other.start()
    floor.line()
    size = floor.book.check().entries
    assert size == parse_checkpoint(floor.book.checkpoint()).tree_size
    other.allot_serials("E-1", 1, "key", floor.lead)
    assert size + 1 == parse_checkpoint(other.checkpoint()).tree_size
    other.close()
    assert size + 1 == parse_checkpoint(floor.book.checkpoint()).tree_size
