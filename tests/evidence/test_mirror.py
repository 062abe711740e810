"""A mirror keeps a head only if it adds to the one before, and says which of three things is wrong where it does not."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.merkle import root
from ledger.book.note import sign_note
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.book.witness import add_cosignatures, cosign
from ledger.errors import ConsistencyFailed, NotFound, RootMismatch, SignatureRejected
from ledger.evidence.fork import check_fork, parse_fork
from ledger.evidence.leaf_tiles import leaves_of
from ledger.evidence.mirror import Mirror
from ledger.evidence.mirror_folder import MirrorFolder
from tests.evidence.shown_book import KEY, LOG, ShownBook, entries


def followed(folder: Path, book: ShownBook, *, with_entries: bool = False) -> Mirror:
    """A mirror that has looked at a book once."""
    mirror = Mirror(MirrorFolder(folder), [KEY], book.read, entries=with_entries)
    mirror.follow()
    return mirror


def forked(folder: Path) -> list[bytes]:
    """The two notes of the evidence in a mirror's folder, which anyone with the key can check."""
    files = {file.name: file.read_bytes() for file in (folder / "fork").iterdir()}
    fork = check_fork(parse_fork(files), [KEY])
    return [fork.kept.note, fork.shown.note]


@given(st.lists(st.integers(1, 700), min_size=1, max_size=4))
def test_growth_by_any_steps_keeps_every_hash(tmp_path_factory: pytest.TempPathFactory, steps: list[int]) -> None:
    """However a book grows between looks, the mirror holds all its leaf hashes and the newest head."""
    folder = MirrorFolder(tmp_path_factory.mktemp("mirror"))
    book = ShownBook(entries(sum(steps)))
    size = 0
    for step in steps:
        before, size = size, size + step
        book.size = size
        found = Mirror(folder, [KEY], book.read).follow()
        assert (found.before, found.head.tree_size) == (before, size)
        assert [leaf for part in leaves_of(folder.read, size) for leaf in part] == book.leaves[:size]
        assert folder.head()[1].root() == root(book.leaves[:size])


def test_full_tiles_are_read_once(tmp_path: Path) -> None:
    """A later look reads the last tile and the new ones, and none that is whole already."""
    book = ShownBook(entries(1_000))
    book.size = 600
    followed(tmp_path, book)
    book.size, book.asked = 1_000, []
    followed(tmp_path, book)
    assert book.asked == ["checkpoint", "tile/0/002", "tile/0/003.p/232"]


def test_only_the_widest_form_of_a_tile_stays(tmp_path: Path) -> None:
    """A full tile takes the place of the narrower forms of itself."""
    book = ShownBook(entries(256))
    book.size = 10
    followed(tmp_path, book)
    book.size = 256
    followed(tmp_path, book)
    assert [file.name for file in (tmp_path / "tile/0").iterdir()] == ["000"]


def test_nothing_new_is_no_fork(tmp_path: Path) -> None:
    """The same head again changes nothing."""
    book = ShownBook(entries(300))
    mirror = followed(tmp_path, book)
    found = mirror.follow()
    assert (found.before, found.head.tree_size) == (300, 300)


def test_note_with_more_cosignatures_takes_the_place_of_the_same_head(tmp_path: Path) -> None:
    """A head that a witness has cosigned since is kept with its cosignature."""
    book = ShownBook(entries(5))
    followed(tmp_path, book)
    witness = signer_from_seed("witness.example/w", bytes(32), "witness")
    note = add_cosignatures(book.head(), cosign(book.head(), witness, 1_700_000_000))
    keys = [KEY, format_verifier(witness.verifier)]
    mirror = Mirror(MirrorFolder(tmp_path), keys, lambda _path, _limit: note)
    assert [line.verifier.name for line in mirror.follow().head.cosignatures] == ["witness.example/w"]
    assert (tmp_path / "checkpoint").read_bytes() == note


def test_older_head_of_the_same_book_is_said_and_not_kept(tmp_path: Path) -> None:
    """A stale answer is told apart from a fork, and the newest head stays."""
    book = ShownBook(entries(300))
    mirror = followed(tmp_path, book)
    book.size = 260
    found = mirror.follow()
    assert (found.head.tree_size, found.shown_size) == (300, 260)


@pytest.mark.parametrize(("kept", "shown"), [(300, 300), (300, 700), (300, 290), (256, 512), (1, 2)])
def test_changed_entry_is_a_fork_whatever_the_sizes(tmp_path: Path, kept: int, shown: int) -> None:
    """A book in which an earlier entry was changed and all signed again is found, and both heads are kept as evidence."""
    book, other = ShownBook(entries(kept)), ShownBook(entries(shown, changed=0))
    followed(tmp_path, book)
    mirror = Mirror(MirrorFolder(tmp_path), [KEY], other.read)
    with pytest.raises(ConsistencyFailed, match="forked"):
        mirror.follow()
    assert forked(tmp_path) == [book.head(), other.head()]
    assert (tmp_path / "checkpoint").read_bytes() == book.head()


def test_fork_names_the_first_entry_that_differs(tmp_path: Path) -> None:
    """Where the other book's hashes are shown, the first that differs is named."""
    followed(tmp_path, ShownBook(entries(600)))
    with pytest.raises(ConsistencyFailed, match="first entry that differs is 417"):
        followed(tmp_path, ShownBook(entries(900, changed=417)))


def test_nothing_is_followed_after_a_fork(tmp_path: Path) -> None:
    """Once forked, even the kept book's own next head is refused until somebody has looked."""
    book = ShownBook(entries(400))
    book.size = 300
    followed(tmp_path, book)
    with pytest.raises(ConsistencyFailed):
        followed(tmp_path, ShownBook(entries(300, changed=3)))
    book.size = 400
    with pytest.raises(ConsistencyFailed, match="found earlier"):
        followed(tmp_path, book)


def test_tiles_of_another_tree_are_no_fork(tmp_path: Path) -> None:
    """Tiles that do not give the signed root are damage or a passing fault: nothing of them is kept."""
    book = ShownBook(entries(600))
    book.size = 100
    mirror = followed(tmp_path, book)
    book.size = 600
    good = book.leaves[500]
    head = book.head()
    book.leaves[500] = bytes(32)
    damaged = Mirror(
        MirrorFolder(tmp_path), [KEY], lambda path, _limit: head if path == "checkpoint" else book.read(path, 8_192)
    )
    with pytest.raises(RootMismatch, match="tiles do not give the root"):
        damaged.follow()
    assert not (tmp_path / "fork").exists()
    book.leaves[500] = good
    assert mirror.follow().head.tree_size == 600


def test_own_leaf_that_was_changed_is_found(tmp_path: Path) -> None:
    """A changed file of the mirror is no fork of the book: it is named as its own."""
    book = ShownBook(entries(700))
    book.size = 600
    mirror = followed(tmp_path, book)
    tile = tmp_path / "tile/0/002.p/88"
    raw = bytearray(tile.read_bytes())
    raw[0] ^= 1
    tile.write_bytes(raw)
    with pytest.raises(RootMismatch, match="own leaves"):
        mirror.check()
    book.size = 700
    with pytest.raises(RootMismatch, match="own leaves"):
        mirror.follow()
    assert not (tmp_path / "fork").exists()


@pytest.mark.parametrize("lost", ["frontier", "checkpoint"])
def test_mirror_killed_between_two_files_goes_on(tmp_path: Path, lost: str) -> None:
    """Whichever of its files is of the time before, the next look ends where the book is."""
    book = ShownBook(entries(900))
    book.size = 300
    followed(tmp_path, book)
    before = (tmp_path / lost).read_bytes()
    book.size = 900
    followed(tmp_path, book)
    (tmp_path / lost).write_bytes(before)
    followed(tmp_path, book)
    folder = MirrorFolder(tmp_path)
    assert folder.head()[1].root() == root(book.leaves)


def test_key_of_somebody_else_is_refused(tmp_path: Path) -> None:
    """A head that the book's key did not sign is not looked at."""
    stranger = signer_from_seed(LOG.name, bytes(range(32)))
    with pytest.raises(SignatureRejected):
        followed(tmp_path, ShownBook(entries(3), stranger))


def test_note_that_is_no_checkpoint_is_refused(tmp_path: Path) -> None:
    """A signed note that says something else is no head."""
    note = sign_note("something else\n", [LOG])
    mirror = Mirror(MirrorFolder(tmp_path), [KEY], lambda _path, _limit: note)
    with pytest.raises(Exception, match="checkpoint"):
        mirror.follow()


def test_entries_are_kept_and_held_against_their_hashes(tmp_path: Path) -> None:
    """With entries, each is compared with its leaf before it is kept."""
    book = ShownBook(entries(300))
    followed(tmp_path, book, with_entries=True)
    assert MirrorFolder(tmp_path).entries_kept() == 300
    other = ShownBook(entries(400))
    other.raws[350] = b"not what was hashed"
    with pytest.raises(RootMismatch, match="entry 350"):
        followed(tmp_path, other, with_entries=True)


def test_entries_asked_for_later_are_read_from_the_beginning(tmp_path: Path) -> None:
    """A mirror that kept only hashes catches up on the entries."""
    book = ShownBook(entries(300))
    followed(tmp_path, book)
    followed(tmp_path, book, with_entries=True)
    assert sorted(file.name for file in (tmp_path / "tile/entries").iterdir()) == ["000", "001.p"]


def test_head_seen_elsewhere_is_compared(tmp_path: Path) -> None:
    """A head that another reader was shown is held against the kept book; a larger one cannot be judged yet."""
    book = ShownBook(entries(300))
    mirror = followed(tmp_path, book)
    assert mirror.compare(book.head(270)).tree_size == 270
    with pytest.raises(ConsistencyFailed, match="ahead of this mirror"):
        mirror.compare(ShownBook(entries(301)).head())
    assert not (tmp_path / "fork").exists()
    with pytest.raises(ConsistencyFailed, match="forked"):
        mirror.compare(ShownBook(entries(270, changed=5)).head())
    assert len(forked(tmp_path)) == 2


def test_mirror_without_a_head_has_nothing_to_check(tmp_path: Path) -> None:
    """An empty folder is said to be one."""
    with pytest.raises(NotFound, match="no head yet"):
        Mirror(MirrorFolder(tmp_path), [KEY], ShownBook([]).read).check()
