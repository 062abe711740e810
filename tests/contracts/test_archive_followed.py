"""The folder of an archive is a static log of its own: a mirror follows and proves it without the service."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest

from ledger.book.checkpoint import check_checkpoint
from ledger.book.tiles import prove_consistency_from_tiles, prove_inclusion_from_tiles, root_from_tiles, tile_path
from ledger.errors import NotFound, RootMismatch
from ledger.evidence.mirror import Mirror
from ledger.evidence.mirror_folder import MirrorFolder
from ledger.store.archiving import archive_book
from ledger.store.engine import Store
from ledger.store.objects import Objects
from ledger.store.reader import open_reader
from ops.reading import Address
from tests.archived_book import SIZE, fill, open_ranged, write_book
from tests.object_store import BUCKET, object_server, use_server
from tests.plant import ORIGIN, SIGNER, new_writer


class QuietFiles(SimpleHTTPRequestHandler):
    """Serves a folder, and says nothing about it."""

    def log_message(self, *_: Any) -> None:
        """Nothing."""


@pytest.fixture
def store(postgres: str) -> Iterator[Store]:
    """A store with ranges of 256 entries that holds a book."""
    opened = open_ranged(postgres)
    write_book(opened)
    yield opened
    opened.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    """The address at which a folder of files is served."""
    (tmp_path / "book").mkdir()
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(QuietFiles, directory=str(tmp_path / "book")))
    thread = Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_mirror_follows_a_folder_of_files(store: Store, served: str, tmp_path: Path) -> None:
    """Hashes and entries come from the folder alone, and a second look finds what a second run added."""
    archive_book(store, f"file://{tmp_path}/book")
    mirror = Mirror(MirrorFolder(tmp_path / "mirror"), [SIGNER.verifier], Address(served).read, entries=True)
    assert (0, SIZE) == ((found := mirror.follow()).before, found.head.tree_size)
    writer = new_writer(store)
    writer.start()
    fill(writer, SIZE, 200)
    writer.stop()
    archive_book(store, f"file://{tmp_path}/book")
    assert (SIZE, 1100) == ((found := mirror.follow()).before, found.head.tree_size)
    with open_reader(store) as reader:
        for number in range(1100 // 256):
            kept = (tmp_path / f"mirror/tile/entries/{number:03d}").read_bytes()
            assert all(entry.bytes in kept for entry in reader.entries(number * 256, number * 256 + 256))


def test_a_mirror_finds_a_changed_tile(store: Store, served: str, tmp_path: Path) -> None:
    """A flipped byte in the folder's hashes or entries does not come through."""
    archive_book(store, f"file://{tmp_path}/book")
    for name in ("tile/0/001", "tile/entries/002"):
        file = tmp_path / "book" / name
        kept = file.read_bytes()
        file.write_bytes(kept[:100] + bytes([kept[100] ^ 1]) + kept[101:])
        mirror = Mirror(MirrorFolder(tmp_path / name), [SIGNER.verifier], Address(served).read, entries=True)
        with pytest.raises(RootMismatch):
            mirror.follow()
        file.write_bytes(kept)


class TilesOfBucket:
    """A `ledger.book.tiles.HashReader` over the bucket's own tiles."""

    def __init__(self, objects: Objects) -> None:
        """Read from this folder."""
        self._objects = objects

    def read(self, path: str) -> bytes:
        """The object at a path. Raises NotFound."""
        raw = self._objects.get(path)
        if raw is None:
            raise NotFound("no such object", where=path)
        return raw

    def read_tiles(self, wanted: Any) -> list[bytes]:
        """Each tile by its own path."""
        return [self.read(tile_path(*tile)) for tile in wanted]


def test_the_bucket_proves_itself(store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """From tiles of every level in the bucket come root, receipts and consistency of its checkpoint, and a mirror."""
    with object_server() as address:
        use_server(monkeypatch, address)
        archive_book(store, f"s3://{BUCKET}/book")
        bucket = TilesOfBucket(Objects(f"s3://{BUCKET}/book"))
        head = check_checkpoint(bucket.read("checkpoint"), [SIGNER.verifier], ORIGIN)
        assert (SIZE, head.root_hash) == (head.tree_size, root_from_tiles(bucket, SIZE))
        with open_reader(store) as reader:
            assert reader.consistency(300, SIZE) == prove_consistency_from_tiles(bucket, 300, SIZE)
            proof = "\n".join(reader.receipt(40).splitlines())
        assert all(_text(node) in proof for node in prove_inclusion_from_tiles(bucket, 40, SIZE))
        folder = MirrorFolder(tmp_path / "mirror")
        mirror = Mirror(folder, [SIGNER.verifier], lambda path, _limit: bucket.read(path), entries=True)
        assert SIZE == mirror.follow().head.tree_size
        assert head == mirror.check()


def _text(node: bytes) -> str:
    return b64encode(node).decode()
