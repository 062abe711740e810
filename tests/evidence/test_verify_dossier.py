"""`pourbook verify dossier`: the command over the verifier."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from ledger.book.signing import format_verifier, signer_from_seed
from ops.cli import main
from tests.evidence.small_dossier import KEY, ORIGIN, dossier, members, resealed
from tests.evidence.witnessed_dossier import full_dossier, policy_text


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The good dossier on disk."""
    path = tmp_path / "balls.zip"
    path.write_bytes(dossier())
    return path


def test_a_good_dossier_ends_well(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0 and the report in plain words."""
    assert 0 == main(["verify", "dossier", str(file), "--key", KEY])
    assert "nothing is wrong with this dossier: 2 balls" in capsys.readouterr().out


def test_the_key_may_stand_in_a_file(file: Path, tmp_path: Path) -> None:
    """A file of verifier lines, with comments, is a key."""
    (tmp_path / "key.txt").write_text(f"# the plant's key\n{KEY}\n\n", "utf-8")
    assert 0 == main(["verify", "dossier", str(file), "--key", str(tmp_path / "key.txt")])


def test_a_changed_byte_is_named(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 1 and one line that says what is wrong and where."""
    file.write_bytes(dossier().replace(b"15.10", b"15.20", 1))
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY])
    assert "entries/8.json: file is not as its directory says" in capsys.readouterr().err


@pytest.mark.parametrize("key", ["no-such-file", "a+b+c", "."])
def test_a_key_that_is_none_is_said(file: Path, key: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is neither a verifier line nor a readable file is refused in words."""
    assert 1 == main(["verify", "dossier", str(file), "--key", key])
    assert "key" in capsys.readouterr().err


def test_a_file_without_a_key_is_said(file: Path, tmp_path: Path) -> None:
    """An empty key file is no key."""
    (tmp_path / "none.txt").write_text("# nothing\n", "utf-8")
    assert 1 == main(["verify", "dossier", str(file), "--key", str(tmp_path / "none.txt")])


def test_a_missing_dossier_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that cannot be read is named, without a traceback."""
    assert 1 == main(["verify", "dossier", str(tmp_path / "none.zip"), "--key", KEY])
    assert "cannot be read" in capsys.readouterr().err


def told(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """The JSON that was printed."""
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_report_may_be_had_as_json(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For machines: names that stay, and the words beside them."""
    assert 0 == main(["verify", "dossier", str(file), "--key", KEY, "--json"])
    found = told(capsys)
    assert (True, ORIGIN, 13, 2) == (found["ok"], found["book"], found["tree_size"], found["counts"]["balls"])
    assert {
        "manifest",
        "digests",
        "checkpoint",
        "entries",
        "sealed",
        "keys",
        "sheets",
        "verdicts",
        "house",
        "table",
    } == {line["code"] for line in found["checked"]}
    assert {"truth", "left_out", "rulebooks", "witnesses", "lots", "sealed"} == {
        line["code"] for line in found["not_checked"]
    }
    assert {"house": {"conforms": 2}} == found["verdicts"]


def test_a_fault_may_be_had_as_json(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With exit code 1: what, where, and what was expected."""
    file.write_bytes(dossier().replace(b"15.10", b"15.20", 1))
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY, "--json"])
    found = told(capsys)
    assert (False, "malformed-dossier", "entries/8.json") == (found["ok"], found["code"], found["where"])
    assert {"ok", "code", "problem", "where", "expected", "got", "mend"} == found.keys()


def test_a_policy_stands_in_for_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It names the book's key and whose cosignatures are wanted."""
    (tmp_path / "balls.zip").write_bytes(full_dossier())
    (tmp_path / "policy").write_text(policy_text(), "utf-8")
    words = ["verify", "dossier", str(tmp_path / "balls.zip"), "--policy", str(tmp_path / "policy")]
    assert 0 == main([*words, "--json"])
    found = told(capsys)
    assert ["witness.example/north", "witness.example/south"] == [one["name"] for one in found["cosigned"]]
    assert [{"lot": "S1", "count": 3, "here": 2}] == [
        {name: one[name] for name in ("lot", "count", "here")} for one in found["lots"]
    ]
    (tmp_path / "policy").write_text("quorum nobody\n", "utf-8")
    assert 1 == main(words)
    assert "policy line 1" in capsys.readouterr().err


def test_a_root_has_to_be_one(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And a file that can be read."""
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY, "--tsa-root", str(tmp_path / "none.pem")])
    assert "cannot be read" in capsys.readouterr().err
    (tmp_path / "root.pem").write_text("no certificate", "utf-8")
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY, "--tsa-root", str(tmp_path / "root.pem")])
    assert "no certificates in PEM" in capsys.readouterr().err


def test_without_any_key_nothing_is_proved(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A dossier does not vouch for itself."""
    assert 1 == main(["verify", "dossier", str(file)])
    assert "no key is given" in capsys.readouterr().err


@pytest.mark.parametrize(("sizes", "code"), [("", 0), (" from 0", 0), (" from 0 to 13", 0), (" to 13", 0), (" to 12", 1),
                                             (" from 14", 1), (" from x", 1), (" until 12", 1), (" from 1 to", 1)])  # fmt: skip
def test_a_key_may_say_for_which_sizes_it_speaks(file: Path, tmp_path: Path, sizes: str, code: int) -> None:
    """In a file or as it is typed; for other sizes it proves nothing."""
    (tmp_path / "key.txt").write_text(f"{KEY}{sizes}\n", "utf-8")
    assert code == main(["verify", "dossier", str(file), "--key", str(tmp_path / "key.txt")])
    assert code == main(["verify", "dossier", str(file), "--key", f"{KEY}{sizes}"])


def test_proofs_alone_are_told_as_such(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was not looked at is said; a changed byte is named as by the whole check."""
    words = ["verify", "dossier", str(file), "--key", KEY, "--proofs-only"]
    assert 0 == main(words)
    said = capsys.readouterr().out
    assert "digests, proofs and signatures of this dossier are right: 12 entries" in said
    assert "every entry stands in the book under that checkpoint" in said
    assert "verdict" not in said.partition("not checked:")[0]
    assert "not checked:\n  - sheets, verdicts, lots, events and whatever else is made from the entries" in said
    assert 0 == main([*words, "--json"])
    found = json.loads(capsys.readouterr().out)
    assert (True, True, ORIGIN) == (found["ok"], found["proofs_only"], found["book"])
    assert not {"verdicts", "lots"} & found.keys()
    file.write_bytes(dossier().replace(b"15.10", b"15.20", 1))
    assert 1 == main(words)
    assert "entries/8.json: file is not as its directory says" in capsys.readouterr().err


def test_proofs_alone_do_not_hold_sheets_against_entries(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet that says something else, sealed anew by whoever has the dossier key, shows in the whole check alone."""
    file.write_bytes(sheet_changed())
    assert 0 == main(["verify", "dossier", str(file), "--key", KEY, "--proofs-only"])
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY])
    assert "sheet differs from its entries" in capsys.readouterr().err


def test_proofs_under_another_key_prove_nothing(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The book's key has to be the one that is given, for the proofs alone too."""
    other = format_verifier(signer_from_seed(ORIGIN, bytes(32)).verifier)
    assert 1 == main(["verify", "dossier", str(file), "--key", other, "--proofs-only"])
    assert "pourbook: " in capsys.readouterr().err


@pytest.mark.parametrize("number", ["0", "-1", "many", "257"])
def test_a_number_of_processes_that_is_none_is_refused(
    file: Path, number: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """From one to 256."""
    with pytest.raises(SystemExit):
        main(["verify", "dossier", str(file), "--key", KEY, "--processes", number])
    assert f"expected 1 to 256, got {number}" in capsys.readouterr().err


def sheet_changed() -> bytes:
    """The dossier with another number in a sheet, its digests and its seal made anew."""
    files = members(dossier())
    name = next(name for name in files if name.startswith("balls/"))
    changed = files[name].replace(b"2345ACDFG", b"2345ACDFH")
    assert changed != files[name]
    return resealed(files | {name: changed})
