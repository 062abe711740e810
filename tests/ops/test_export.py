"""`pourbook export`: whole lots, what is opened, and a file that is there whole or not at all."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from ledger.book.signing import format_verifier, private_pem
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from ops.cli import main
from ops.commands.export import whole_file
from ops.key_files import KeyFile, format_key_file, write_new
from tests.application.floor import Floor, floor_signers
from tests.application.wanted_dossiers import KEY, closed
from tests.evidence.small_dossier import members

PASSWORD = "a password of the tests"


@pytest.fixture
def words(tmp_path: Path) -> list[str]:
    """The command over a book of two balls of a closed lot, without its selection."""
    floor = Floor(tmp_path)
    floor.line()
    for number in (1, 2):
        floor.ball(f"U-{number}", f"P-{number}")
    closed(floor)
    floor.book.close()
    signer = floor_signers().dossier
    line, pem = format_verifier(signer.verifier), private_pem(signer, PASSWORD.encode())
    write_new(tmp_path / "dossier.key", format_key_file(KeyFile(signer.name, signer.purpose, line, pem)))
    (tmp_path / "password").write_text(f"{PASSWORD}\n", "utf-8")
    store = ["--store", floor.url, "--dossier-key", str(tmp_path / "dossier.key")]
    return ["export", str(tmp_path / "out.zip"), *store, "--password-file", str(tmp_path / "password")]


def exported(words: list[str], *more: str) -> tuple[DossierReport, bytes]:
    """What was written, and what a check of it found."""
    assert 0 == main([*words, *more])
    raw = Path(words[1]).read_bytes()
    Path(words[1]).unlink()
    return check_dossier(io.BytesIO(raw), [KEY]), raw


def test_a_lot_alone_is_the_whole_lot(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """With another condition beside it, it is a selection."""
    whole, _ = exported(words, "--lot", "SL-1")
    assert ("lots", True) == (whole.scope.kind, whole.lots[0].is_whole)
    some, _ = exported(words, "--lot", "SL-1", "--state", "engraved")
    assert ("selection", "2 balls: of lot SL-1, in state engraved") == (some.scope.kind, some.scope.words)
    assert "dossier of 2 balls" in capsys.readouterr().out


def test_fields_are_opened_and_withheld(words: list[str]) -> None:
    """By group; all are closed otherwise."""
    _, none = exported(words, "--serial", "P-1")
    _, supplier = exported(words, "--serial", "P-1", "--open", "suppliers")
    _, but_supplier = exported(words, "--serial", "P-1", "--withhold", "suppliers")
    told = [
        b"".join(text for name, text in members(raw).items() if name.startswith("openings/"))
        for raw in (none, supplier, but_supplier)
    ]
    assert [(False, False), (True, False), (False, True)] == [
        (b"Acme" in one, b'"500"' in one or b"Bob" in one) for one in told
    ]


def test_events_need_the_addresses_of_labels(words: list[str]) -> None:
    """Parts are left out by name."""
    assert 0 == exported(words, "--serial", "P-1")[0].counts.events
    stem = ["--label-stem", "https://id.example.com"]
    assert 1 == exported(words, "--serial", "P-1", *stem)[0].counts.events
    fewer = exported(words, "--serial", "P-1", *stem, "--without", "events", "--without", "lots")[0].counts
    assert (0, 0) == (fewer.events, fewer.lots)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--serial", "P-404"], "no ball is selected"),
        (["--open", "everything"], "no such field or group"),
        (["--serial", "P-1", "--open", "0/0/nothing"], "no sealed field 0/0/nothing"),
        (["--approval-file", "AF-1", "--lot", "SL-1"], "an approval file names its balls itself"),
        (["--approval-file", "AF-404"], "no approval file AF-404"),
    ],
)
def test_what_cannot_be_leaves_no_file(
    words: list[str], more: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither under its name nor beside it."""
    assert 1 == main([*words, *more])
    assert said in capsys.readouterr().err
    assert [] == [path.name for path in Path(words[1]).parent.iterdir() if "out.zip" in path.name]


def test_a_file_in_the_making_has_no_name(tmp_path: Path) -> None:
    """It is there whole or not at all, and never in the place of another."""
    path = tmp_path / "a.zip"

    def fail() -> None:
        with whole_file(path) as out:
            out.write(b"half")
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert [] == list(tmp_path.iterdir())
    with whole_file(path) as out:
        out.write(b"whole")
    assert (b"whole", [path]) == (path.read_bytes(), list(tmp_path.iterdir()))


def test_the_report_may_be_read_by_machines(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """What `verify dossier --json` says of an exported file."""
    assert 0 == main([*words, "--lot", "SL-1"])
    capsys.readouterr()
    assert 0 == main(["verify", "dossier", words[1], "--key", KEY, "--json"])
    assert {"kind": "lots", "names": ["SL-1"], "words": "every ball of shell lot SL-1"} == json.loads(
        capsys.readouterr().out
    )["scope"]
