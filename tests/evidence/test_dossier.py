"""Writing dossiers."""

from __future__ import annotations

import hashlib
import io
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.book.entry import entry_hash
from ledger.errors import DossierRejected, MalformedKey
from ledger.evidence.ball_made import BallMade
from ledger.evidence.dossier import DossierEntry, write_dossier
from ledger.evidence.dossier_format import SUMS, BallSheet, first_difference
from tests.evidence.small_dossier import LOG, book, content, dossier, members, sheet, written


class CountingOut(io.RawIOBase):
    """A stream that cannot seek, and counts what was written to it."""

    def __init__(self) -> None:
        """Nothing written yet."""
        self.count = 0

    def writable(self) -> bool:
        """It takes bytes."""
        return True

    def write(self, raw: object) -> int:
        """Count and let go."""
        self.count += len(bytes(raw))  # type: ignore[call-overload]  # any bytes-like thing
        return len(bytes(raw))  # type: ignore[call-overload]  # as above


def test_same_content_gives_same_bytes() -> None:
    """Two dossiers of one content are one file, byte for byte."""
    assert dossier() == written(content())


def test_entries_are_those_that_were_hashed() -> None:
    """An entry in the dossier is the bytes of the book."""
    assert entry_hash(book().raws[8]) == entry_hash(members(dossier())["entries/8.json"])


def test_sums_are_those_of_sha256sum(tmp_path: Path) -> None:
    """The public tool `sha256sum` checks every file of an unpacked dossier."""
    files = members(dossier())
    for name, raw in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(raw)
    try:
        done = subprocess.run(["sha256sum", "--check", "--quiet", SUMS], cwd=tmp_path, check=False, capture_output=True)
    except FileNotFoundError:
        pytest.skip("sha256sum is not on this machine")
    assert (0, b"") == (done.returncode, done.stderr)
    assert f"{hashlib.sha256(files['checkpoint']).hexdigest()}  checkpoint" in files[SUMS].decode().splitlines()


def test_withheld_and_erased_values_are_nowhere_in_it() -> None:
    """A value that is not told does not stand in the file; one that is told does."""
    raw = dossier()
    assert b"Supplier A" not in raw
    assert b"A. Person" not in raw
    assert b"resin 7, filler 3" in raw
    openings = members(raw)
    assert b'{"outcome":"withheld","path":"0/supplier"}\n' in openings["openings/4.jsonl"]
    assert b'{"outcome":"erased","path":"0/note"}\n' in openings["openings/2.jsonl"]


def test_content_is_taken_one_at_a_time() -> None:
    """Each entry and each sheet is written before the next is asked for, to a stream that cannot seek."""
    out = CountingOut()
    seen: list[int] = []

    def entries() -> Iterator[DossierEntry]:
        for entry in content().entries:
            seen.append(out.count)
            yield entry

    def balls() -> Iterator[BallSheet | BallMade]:
        for ball in content().balls:
            seen.append(out.count)
            yield ball

    write_dossier(out, content(entries=entries(), balls=balls()))  # type: ignore[arg-type]  # a raw stream is one
    assert sorted(set(seen)) == seen
    assert len(dossier()) == out.count


def test_order_is_kept_or_refused() -> None:
    """Entries, balls and rulebooks out of order, or twice, are refused."""
    for wrong in ({"entries": [book().entry(1), book().entry(0)]}, {"balls": [sheet("U-2"), sheet("U-1")]},
                  {"balls": [sheet("U-1"), sheet("U-1")]}, {"rulebooks": (b"a", b"a")}):  # fmt: skip
        with pytest.raises(DossierRejected, match="ascending"):
            written(content(**wrong))


def test_only_a_dossier_key_signs() -> None:
    """One key, one purpose: the book's own key signs no dossier."""
    with pytest.raises(MalformedKey):
        written(content(signer=LOG))


@pytest.mark.parametrize(
    ("said", "found", "path"),
    [
        ({"a": [1, 2]}, {"a": [1, 3]}, "a/1"),
        ({"a": [1]}, {"a": [1, 3]}, "a/1"),
        ({"a": {"b": 1}}, {"a": {}}, "a/b"),
        ({"a": 1}, {"a": {"b": 1}}, "a"),
    ],
)
def test_the_first_difference_is_named(said: object, found: object, path: str) -> None:
    """Where two values differ is told as a path."""
    differs = first_difference(said, found)
    assert differs is not None
    assert path == differs[0]


def test_equal_values_have_no_difference() -> None:
    """Nothing is named where nothing differs."""
    assert None is first_difference({"a": [1, {"b": "c"}]}, {"a": [1, {"b": "c"}]})
