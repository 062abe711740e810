"""A folder on object storage: its address, what is written once, and what is said when it cannot be had."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from ledger.errors import MalformedInput, StoreDamaged, StoreUnavailable, Unsupported
from ledger.store.archived_entries import ArchivedEntries, Place
from ledger.store.objects import WRITING, Objects, check_folder_url, stretches, together


@pytest.mark.parametrize(
    "url",
    [
        "", "book", "/book", "http://host/book", "s3:///book", "s3://key:secret@bucket/book", "s3://bucket/book?X-Sign=1",
        "s3://bucket/book#part", "s3://bucket/a b", "file://host/book", "memory:///", "s3://bucket/../other", "file:book",
    ],
)  # fmt: skip
def test_an_address_is_a_place_and_nothing_else(url: str) -> None:
    """No credentials, no query, no kind that is not known; and what was given is not repeated."""
    with pytest.raises(MalformedInput) as caught:
        check_folder_url(url)
    assert "secret" not in str(caught.value)


def test_an_address_has_one_form() -> None:
    """A stroke at its end means nothing."""
    assert "s3://bucket/a/b" == check_folder_url("s3://bucket/a/b//")
    assert "file:///tmp/a" == check_folder_url("file:///tmp/a/")


def test_an_object_is_written_once(tmp_path: Path) -> None:
    """A second writing says that one is there, and it stays; only a replacement takes its place."""
    objects = Objects(f"file://{tmp_path}/new/book", WRITING)
    assert (True, False, b"one") == (objects.put_new("a/b", b"one"), objects.put_new("a/b", b"two"), objects.get("a/b"))
    objects.replace("a/b", b"two")
    objects.settle()
    assert (b"two", None) == (objects.get("a/b"), objects.get("a/c"))


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A reader makes no folder, and says what to look at."""
    with pytest.raises(StoreUnavailable, match="object storage") as caught:
        Objects(f"file://{tmp_path}/none")
    assert "bucket or folder" in caught.value.mend


def test_without_the_library_the_reason_is_plain(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where the extra is not installed, that is said, and how to install it."""
    monkeypatch.setitem(sys.modules, "obstore", None)
    with pytest.raises(Unsupported, match="not installed") as caught:
        Objects(f"file://{tmp_path}")
    assert "pourbook[archive]" in caught.value.mend


def test_many_at_once_come_in_order() -> None:
    """Answers stand in the order in which they were asked, and the first error is raised."""
    assert [1, 4, 9] == together(lambda one: one * one, [1, 2, 3])
    with pytest.raises(ZeroDivisionError):
        together(lambda one: 1 // one, [1, 0, 2])
    assert [[1, 2], [3]] == list(stretches([1, 2, 3], 2))


def test_entries_without_an_archive_are_damage() -> None:
    """A row without bytes in a store that names no archive is told with its entry."""
    with pytest.raises(StoreDamaged, match="entry 0"):
        ArchivedEntries(lambda: None).read({3: bytes(32)})
    assert {} == ArchivedEntries(lambda: Place("s3://bucket", 5)).read({})
