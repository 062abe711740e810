"""`pourbook import`: tried, run, killed in the middle, and gone on with."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from ledger.application.creating import create_book
from ledger.application.pourbook import open_book
from ledger.application.signers import Signers, dossier_key_name
from ledger.line.rows import Unit
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.selections import every_row
from ops.cli import main
from ops.key_files import create_key_file
from tests.application.import_files import BALLS, csv_of
from tests.plant import ORIGIN, line_start

PASSWORD = "a password for tests"


class Desk(NamedTuple):
    """A book in a folder, and the variables that name its keys."""

    folder: Path
    url: str
    variables: dict[str, str]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A book whose line has begun, its key files, and the token of its quality lead in a file."""
    (tmp_path / "password").write_text(PASSWORD, encoding="utf-8")
    signers = Signers(
        create_key_file(tmp_path / "checkpoint.key", ORIGIN, "checkpoint", PASSWORD),
        create_key_file(tmp_path / "dossier.key", dossier_key_name(ORIGIN), "dossier", PASSWORD),
    )
    url = f"sqlite:///{tmp_path / 'book.sqlite'}"
    created = create_book(url, origin=ORIGIN, plant="Test plant", signers=signers, keeper="A keeper")
    book = open_book(url, origin=ORIGIN, signers=signers, label_stem="https://id.example.com")
    book.start()
    for submission in line_start():
        book.submit(submission, created.account).result(30)
    (tmp_path / "token").write_text(book.open_account("Lead", ("quality",))[1], encoding="utf-8")
    book.close()
    variables = {
        "POURBOOK_CHECKPOINT_KEY_FILE": str(tmp_path / "checkpoint.key"),
        "POURBOOK_CHECKPOINT_PASSWORD_FILE": str(tmp_path / "password"),
        "POURBOOK_DOSSIER_KEY_FILE": str(tmp_path / "dossier.key"),
        "POURBOOK_DOSSIER_PASSWORD_FILE": str(tmp_path / "password"),
        "POURBOOK_STORE_URL": url,
        "POURBOOK_LABEL_STEM": "https://id.example.com",
    }
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    return Desk(tmp_path, url, variables)


def lines_of(file: Path) -> list[dict[str, str]]:
    """The lines of an answer."""
    with file.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def test_a_dry_run_and_the_run(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    """Both count the same, and write the same verdicts; refused lines make the code 1."""
    (desk.folder / "balls.csv").write_text(BALLS, encoding="utf-8")
    words = ["import", "balls", str(desk.folder / "balls.csv"), "--answer", str(desk.folder / "told.csv")]
    assert 1 == main([*words, "--dry-run"])
    assert "13 lines: 4 would be accepted, 9 would be refused" in capsys.readouterr().out
    tried = lines_of(desk.folder / "told.csv")
    assert 1 == main([*words, "--token-file", str(desk.folder / "token")])
    captured = capsys.readouterr()
    assert "13 lines: 4 accepted, 9 refused" in captured.out
    assert "importing lines: 13 of 13 (100 %)" in captured.err
    assert [one["outcome"] for one in tried] == [one["outcome"] for one in lines_of(desk.folder / "told.csv")]


def test_a_killed_import_goes_on(desk: Desk, project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Killed after some lines, the same command enters the others; every ball is there once, and the views are the fold."""
    count = 3_000
    file = desk.folder / "balls.csv"
    file.write_bytes(csv_of(["made_on", "serial"], *(["2001-01-01", f"S{n}"] for n in range(count))))
    words = ["import", "balls", str(file), "--token-file", str(desk.folder / "token")]
    command = [sys.executable, "-m", "ops.cli", *words]
    with subprocess.Popen(
        command,
        cwd=project,
        env={**os.environ, **desk.variables},
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
    ) as child:
        assert child.stderr is not None
        assert "importing lines" in child.stderr.readline()
        child.kill()
    store = open_store(desk.url)
    with open_reader(store) as reader:
        killed_at = len(every_row(reader.transaction, Unit))
    assert 0 == main(words)
    assert f"{count:,} lines: {count:,} accepted, 0 refused" in capsys.readouterr().out
    with open_reader(store) as reader:
        units = every_row(reader.transaction, Unit)
    assert 0 < killed_at <= count == len(units)
    assert [] == compare_views(store)
    store.close()


def test_what_is_missing_is_said(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    """No file, no token, no folder for the answer: each has its own line; the columns are told on request."""
    file = desk.folder / "balls.csv"
    file.write_text(BALLS, encoding="utf-8")
    assert 0 == main(["import", "balls", "--columns"])
    assert "made_on       needed" in capsys.readouterr().out
    for words, said in (
        (["import", "balls"], "no file is named"),
        (["import", "balls", str(desk.folder / "none.csv")], "cannot be read"),
        (["import", "balls", str(file)], "somebody's name"),
        (
            ["import", "balls", str(file), "--dry-run", "--answer", str(desk.folder / "no" / "a.csv")],
            "cannot be written",
        ),
    ):
        assert 1 == main(words)
        assert said in capsys.readouterr().err
