"""The archive: a zip in one exact form."""

from __future__ import annotations

import hashlib
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import LedgerError, MalformedDossier, TooLarge
from ledger.evidence import archive as archive_module
from ledger.evidence.archive import Archive, ArchiveWriter, check_name
from tests.evidence.small_dossier import archived

FILES = {"README.txt": b"plain words\n", "entries/0.json": b"{}", "entries/1.json": b""}


def opened(raw: bytes) -> Archive:
    """The archive in these bytes."""
    return Archive(io.BytesIO(raw))


def read_whole(raw: bytes) -> dict[str, bytes]:
    """Every file of an archive, read."""
    archive = opened(raw)
    return {name: archive.read(name, 1000) for name in archive.names}


def test_what_was_written_is_read() -> None:
    """Names, order and content come back."""
    assert list(FILES.items()) == list(read_whole(archived(FILES)).items())


def test_any_zip_program_opens_it() -> None:
    """The standard library reads it and finds every sum right."""
    with zipfile.ZipFile(io.BytesIO(archived(FILES))) as found:
        assert None is found.testzip()
        assert FILES == {name: found.read(name) for name in found.namelist()}


def test_same_members_give_same_bytes() -> None:
    """Nothing of the clock or the machine is in it."""
    assert archived(FILES) == archived(dict(FILES))


@given(st.integers(0, len(archived(FILES)) * 8 - 1))
def test_every_flipped_bit_is_found(bit: int) -> None:
    """Each bit of headers, directory and content is accounted for."""
    raw = bytearray(archived(FILES))
    raw[bit // 8] ^= 1 << bit % 8
    with pytest.raises(MalformedDossier):
        read_whole(bytes(raw))


@given(st.integers(0, len(archived(FILES)) - 1))
def test_a_cut_archive_is_found(length: int) -> None:
    """An archive cut anywhere is none."""
    with pytest.raises(MalformedDossier):
        opened(archived(FILES)[:length])


@given(st.binary(max_size=200))
def test_other_bytes_are_no_archive(raw: bytes) -> None:
    """Bytes of any sort raise MalformedDossier alone."""
    with pytest.raises(MalformedDossier):
        opened(raw)


@pytest.mark.parametrize(
    "change",
    [lambda raw: b"x" + raw, lambda raw: raw + b"x", lambda raw: raw[:40] + b"x" + raw[40:]],
    ids=["before", "after", "between"],
)
def test_bytes_that_belong_to_no_file_are_refused(change: Callable[[bytes], bytes]) -> None:
    """Nothing hides before, between or after the files."""
    with pytest.raises(MalformedDossier):
        read_whole(change(archived(FILES)))


def test_another_zip_is_refused() -> None:
    """A zip with compressed members is refused before anything is unpacked, however much it would hold."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("README.txt", bytes(5_000_000))
    assert len(out.getvalue()) < 10_000
    with pytest.raises(MalformedDossier, match="another form"):
        opened(out.getvalue())


@pytest.mark.parametrize(
    "name", ["/etc/passwd", "../x", "a/../b", "a/b/c", "a\\b", "", ".x", "a/", "a\n", "é", "C:x", "a" * 121, "a//b"]
)
def test_names_lead_nowhere_else(name: str) -> None:
    """A name is plain and at most one folder deep."""
    with pytest.raises(MalformedDossier):
        check_name(name)


def test_a_hostile_name_is_refused_on_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name that leads out of the folder is refused, whoever wrote it."""
    with monkeypatch.context() as lax:
        lax.setattr(archive_module, "check_name", lambda _name: None)
        raw = archived({"../outside": b"x"})
    with pytest.raises(MalformedDossier, match="name of another form"):
        opened(raw)


def test_a_name_twice_is_refused() -> None:
    """Two files of one name are refused."""
    out = io.BytesIO()
    writer = ArchiveWriter(out)
    writer.add("a", b"1")
    writer.add("a", b"2")
    writer.close()
    with pytest.raises(MalformedDossier, match="twice"):
        opened(out.getvalue())


def test_a_file_longer_than_asked_for_is_not_read() -> None:
    """A reader says how much it takes, and is spared more."""
    with pytest.raises(MalformedDossier, match="too long"):
        opened(archived({"a": bytes(11)})).read("a", 10)


def test_a_missing_file_is_named() -> None:
    """What is not there is said to be missing."""
    with pytest.raises(MalformedDossier, match="b: file is missing"):
        opened(archived({"a": b""})).read("b", 10)


def test_lines_are_read_one_at_a_time() -> None:
    """Lines come without their newlines; one that is too long or has no end is refused."""
    archive = opened(archived({"a": b"one\ntwo\n", "b": b"one", "c": b"0123456789\n"}))
    assert [b"one", b"two"] == list(archive.lines("a", 5))
    for name in "bc":
        with pytest.raises(MalformedDossier):
            list(archive.lines(name, 5))


def test_many_files_need_zip64_and_open_everywhere() -> None:
    """More files than the old form can count are counted in the new one, and other programs agree."""
    raw = archived({f"f/{number}": b"" for number in range(65_600)})
    assert 65_600 == len(opened(raw).names)
    with zipfile.ZipFile(io.BytesIO(raw)) as found:
        assert 65_600 == len(found.namelist())


def test_far_offsets_are_written_as_zip64() -> None:
    """A file beyond 4 GiB has its offset in the extra field (APPNOTE 4.5.3; clause from memory)."""
    header = archive_module._central_header(b"a", 2**32, 1, 0)
    assert struct.pack("<HHQ", 1, 8, 2**32) == header[-12:]
    assert struct.pack("<I", 0xFFFFFFFF) == header[42:46]


def test_digests_read_ahead_are_those_read_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """From a file and from memory, of files longer and shorter than what is read at once; of any run of them."""
    monkeypatch.setattr(archive_module, "_BLOCK", 100)
    files = {f"f/{number}": bytes([number]) * (number * 37 % 260) for number in range(40)}
    (tmp_path / "a.zip").write_bytes(archived(files))
    with (tmp_path / "a.zip").open("rb") as file:
        for archive in (Archive(file), opened(archived(files))):
            alone = [hashlib.sha256(raw).hexdigest() for raw in files.values()]
            assert alone == [archive.digest(name) for name in archive.names] == list(archive.digests(0, 40))
            assert alone[7:9] == list(archive.digests(7, 9))
            assert [] == list(archive.digests(3, 3))


def test_a_part_of_a_file_ends_with_it() -> None:
    """Its bytes from one place to another, and no byte of what comes after."""
    archive = opened(archived(FILES))
    assert b"plain" == archive.part("README.txt", 0, 5)
    assert b"words\n" == archive.part("README.txt", 6, 600)
    assert b"" == archive.part("README.txt", 60, 600)


def test_limits_hold_on_writing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that no reader would take is not written."""
    monkeypatch.setattr(archive_module, "MAX_MEMBER_BYTES", 3)
    with pytest.raises(TooLarge):
        archived({"a": b"1234"})
    assert issubclass(TooLarge, LedgerError)
