"""Hostile dossiers: whatever comes, the answer is a plain reason, in bounded time and memory, and never a traceback."""

from __future__ import annotations

import io
import struct
import tracemalloc
import zipfile
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.verifier import check_dossier
from tests.evidence.small_dossier import archived, members, resealed
from tests.evidence.whole_dossier import TRUSTED, whole_dossier, whole_files

Files = dict[str, bytes]
BOUND_BYTES = 20_000_000
"""More than the little dossier takes; far less than what hostile ones claim."""


def wrong(raw: bytes) -> LedgerError:
    """The first thing that is wrong, found within bounded memory."""
    tracemalloc.start()
    try:
        with pytest.raises((MalformedDossier, DossierRejected)) as found:
            check_dossier(io.BytesIO(raw), TRUSTED)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < BOUND_BYTES + 4 * len(raw)
    return found.value


def zipped(files: Files, compression: int) -> bytes:
    """A zip as common programs make it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as archive:
        for name, raw in files.items():
            archive.writestr(name, raw)
    return out.getvalue()


def test_the_whole_one_is_good() -> None:
    """Every part is there, and nothing is wrong with any."""
    report = check_dossier(io.BytesIO(whole_dossier()), TRUSTED)
    assert {"events", "credentials"} <= report.parts.keys()
    assert "time" in {line.code for line in report.not_checked()}
    counts = report.counts
    assert (1, 1, 2, 2, 1, 1, 2) == (
        counts.tokens, counts.did, counts.events, counts.credentials, counts.verdicts, counts.lots, len(report.cosigned),
    )  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(whole_dossier()) * 8 - 1))
def test_any_flipped_bit_of_any_part_is_found(bit: int) -> None:
    """One changed bit anywhere in the whole file."""
    raw = bytearray(whole_dossier())
    raw[bit // 8] ^= 1 << bit % 8
    with pytest.raises((MalformedDossier, DossierRejected)):
        check_dossier(io.BytesIO(bytes(raw)), TRUSTED)


SELF_STANDING = {"README.txt", "VERIFY.md", "verify.html", "tokens/tsa-1.tsr"}
"""Files that say nothing which follows from an entry: only digests and the signature hold them."""


@pytest.mark.parametrize(
    "name", [name for name in whole_files() if name not in ("manifest.json", "manifest.sig", "SHA256SUMS")]
)
def test_a_changed_byte_in_each_file_is_found_behind_a_good_signature(name: str) -> None:
    """Whoever holds the dossier key alone cannot change a file that follows from entries."""
    files = members(whole_dossier())
    middle = len(files[name]) // 2
    files[name] = files[name][:middle] + bytes([files[name][middle] ^ 1]) + files[name][middle + 1 :]
    raw = resealed(files)
    if name in SELF_STANDING:
        assert ("verify.html" == name) == (not check_dossier(io.BytesIO(raw), TRUSTED).is_our_page)
    else:
        assert wrong(raw).where


def test_a_bomb_is_not_unpacked() -> None:
    """Compressed members are refused by their headers: a thousand bytes do not become a hundred million."""
    files = members(whole_dossier()) | {"README.txt": bytes(50_000_000)}
    bomb = zipped(files, zipfile.ZIP_DEFLATED)
    assert len(bomb) < 1_000_000
    assert "another form" in wrong(bomb).problem


def test_a_zip_of_a_common_program_is_refused() -> None:
    """Even uncompressed: dates, flags and attributes are not those of the one form."""
    assert "another form" in wrong(zipped(members(whole_dossier()), zipfile.ZIP_STORED)).problem


@pytest.mark.parametrize(
    "name", ["../x", "/etc/x", "a/b/c", "a\\b", "balls/../x", ".x", "C:x", "a//b", "balls/", "é", "a\x00b", "x" * 200]
)
def test_a_name_that_leads_elsewhere_is_refused(name: str) -> None:
    """No way out of the folder, no second folder, no other letters."""
    with pytest.raises(MalformedDossier):
        Archive(io.BytesIO(zipped({name: b"x"}, zipfile.ZIP_STORED)))


def test_a_name_twice_is_refused() -> None:
    """Two programs might read two different files."""
    raw = bytearray(archived({"a": b"1", "b": b"2"}))
    for at in (raw.index(b"b", 30), raw.rindex(b"b", 0, -22)):
        raw[at : at + 1] = b"a"
    assert "name twice" in wrong(bytes(raw)).problem


@pytest.mark.parametrize("count", [0xFFFF, 0xFFFE, 5])
def test_a_count_that_is_not_there_is_refused(count: int) -> None:
    """A directory that claims more files than it has, or fewer."""
    raw = bytearray(archived({"a": b"1", "b": b"2"}))
    raw[-14:-10] = struct.pack("<HH", count, count)
    assert wrong(bytes(raw)).problem


def test_a_giant_zip64_count_is_refused() -> None:
    """Two thousand million files are not looked for."""
    end = struct.pack("<4sQHHIIQQQQ", b"PK\x06\x06", 44, 45, 45, 0, 0, 2**40, 2**40, 2**50, 0)
    locator = struct.pack("<4sIQI", b"PK\x06\x07", 0, 0, 1)
    short = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0)
    assert "too many files" in wrong(end + locator + short).problem


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.999])
def test_a_truncated_one_is_refused(share: float) -> None:
    """Wherever it was cut."""
    raw = whole_dossier()
    assert wrong(raw[: int(len(raw) * share)]).problem


HOSTILE: dict[str, bytes] = {
    "deep": b"[" * 100_000,
    "deeper": b'{"a":' * 100_000,
    "invalid UTF-8": b'{"unit":"\xff\xfe"}\n',
    "a lone surrogate": b'{"unit":"\\ud800"}\n',
    "a giant number": b'{"v":' + b"9" * 100_000 + b"}\n",
    "a float": b'{"v":1e400}\n',
    "null": b"null\n",
    "a list": b"[]\n",
    "empty": b"",
    "a long string": b'{"unit":"' + b"x" * 3_000_000 + b'"}\n',
    "keys twice": b'{"unit":"A","unit":"B"}\n',
    "zeros": bytes(100_000),
}
JSON_FILES = [
    "keys.json", "did.json", "entries/8.json", "openings/4.jsonl", "balls/U-1.json", "events/U-1.jsonld",
    "credentials/U-1.json", "lots/S1.json", "receipts/8.tlog-proof", "checkpoint", "verdicts.csv",
]  # fmt: skip


@pytest.mark.parametrize("name", JSON_FILES)
@pytest.mark.parametrize("what", list(HOSTILE))
def test_hostile_content_in_every_file_is_refused(name: str, what: str) -> None:
    """Digests and signature made anew, so that the content itself is read."""
    assert wrong(resealed({**members(whole_dossier()), name: HOSTILE[what]})).where


@pytest.mark.parametrize("what", list(HOSTILE))
def test_a_hostile_manifest_is_refused(what: str) -> None:
    """It is read before anything is known of who signed it."""
    assert "manifest.json" == wrong(archived({**members(whole_dossier()), "manifest.json": HOSTILE[what]})).where


@pytest.mark.parametrize(
    "change",
    [
        lambda names: [*names[:3], "tokens/UPPER.tsr", *names[3:]],
        lambda names: [name for name in names if name != "VERIFY.md"],
        lambda names: [name for name in names if name != "verify.html"],
        lambda names: ["verify.html" if name == "VERIFY.md" else name for name in names],
        lambda names: [*names, "manifest.json"],
        sorted,
        lambda names: [name.replace("entries/8.", "entries/08.") for name in names],
        lambda names: [name.replace("balls/U-2", "balls/A-1") for name in names],
        lambda names: [name.replace("verdicts.csv", "verdict.csv") for name in names],
        lambda names: [name.replace("credentials/", "credential/") for name in names],
        lambda _names: [],
    ],
)
def test_files_out_of_place_are_named(change: Callable[[list[str]], list[str]]) -> None:
    """The layout is read from the names alone, before any file is."""
    with pytest.raises(MalformedDossier) as found:
        parse_layout(change(list(whole_files())))
    assert found.value.where


def test_credentials_need_their_issuer() -> None:
    """And events and credentials their balls."""
    files = members(whole_dossier())
    counts = {"did": 0}
    without = {name: raw for name, raw in files.items() if name != "did.json"}
    assert "did.json" == wrong(resealed(without, stated={"counts": counts})).where
    moved = {name.replace("events/U-2", "events/U-3"): raw for name, raw in files.items()}
    assert "events/U-3.jsonld" == wrong(resealed(moved)).where


@given(st.binary(max_size=400), st.integers(0, 400))
def test_bytes_written_over_a_dossier_are_found(noise: bytes, place: int) -> None:
    """Any bytes anywhere."""
    raw = whole_dossier()
    at = place * len(raw) // 400
    changed = raw[:at] + noise + raw[at + len(noise) :]
    if changed != raw:
        with pytest.raises((MalformedDossier, DossierRejected)):
            check_dossier(io.BytesIO(changed), TRUSTED)
