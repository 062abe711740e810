"""`pourbook serve` as a process of its own: it starts, serves, stops cleanly, and loses nothing."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from ledger.application.creating import create_book
from ledger.application.pourbook import open_book
from ledger.application.signers import Signers, dossier_key_name
from ledger.book.checkpoint import check_checkpoint
from ledger.book.signing import format_verifier
from ops.key_files import create_key_file, open_key_file
from tests.api.running import engraved
from tests.plant import AT, ORIGIN, line_start

PASSWORD = "a password for tests"


@contextmanager
def started(folder: Path, project: Path, **variables: str) -> Iterator[tuple[subprocess.Popen[str], queue.Queue[str]]]:
    """The process, and the lines that it prints; it is ended with the block."""
    environment = {**os.environ, **variables, "PYTHONUNBUFFERED": "1"}
    command = [
        sys.executable,
        "-m",
        "ops.cli",
        "serve",
        "--port",
        "0",
        "--store",
        f"sqlite:///{folder / 'book.sqlite'}",
    ]
    with subprocess.Popen(
        command, cwd=project, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        lines: queue.Queue[str] = queue.Queue()
        output = process.stdout
        assert output is not None
        reader = threading.Thread(target=lambda: deque(map(lines.put, output), 0), daemon=True)
        reader.start()
        try:
            yield process, lines
        finally:
            if process.poll() is None:
                process.kill()
            process.wait()
            reader.join()


@pytest.fixture
def plant(tmp_path: Path) -> tuple[dict[str, str], str]:
    """A book with a line, its key files, the variables that name them, and the token of its quality lead."""
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
        book.submit(submission, created.account).result()
    book.close()
    variables = {
        "POURBOOK_CHECKPOINT_KEY_FILE": str(tmp_path / "checkpoint.key"),
        "POURBOOK_CHECKPOINT_PASSWORD_FILE": str(tmp_path / "password"),
        "POURBOOK_DOSSIER_KEY_FILE": str(tmp_path / "dossier.key"),
        "POURBOOK_DOSSIER_PASSWORD_FILE": str(tmp_path / "password"),
    }
    return variables, created.token


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_until_it_is_stopped(
    tmp_path: Path, project: Path, plant: tuple[dict[str, str], str], stop: signal.Signals
) -> None:
    """It prints its address, enters what it is told, and after a stop the entry is there for the next start."""
    variables, token = plant
    headers = {"authorization": f"Bearer {token}", "idempotency-key": "serve-1"}
    with started(tmp_path, project, **variables) as (process, lines):
        first = lines.get(timeout=60)
        assert "ready\n" == lines.get(timeout=60)
        address = first.split(" at ")[1].split(" ")[0]
        entered = httpx.post(f"{address}/balls", json=engraved(1), headers=headers, timeout=60)
        process.send_signal(stop)
        code = process.wait(timeout=60)
    with started(tmp_path, project, **variables) as (process, lines):
        address = lines.get(timeout=60).split(" at ")[1].split(" ")[0]
        lines.get(timeout=60)
        again = httpx.post(f"{address}/balls", json=engraved(1), headers=headers, timeout=60)

    assert (201, 200, True) == (entered.status_code, again.status_code, again.json()["repeated"])
    assert {signal.SIGTERM: 0, signal.SIGINT: 130}[stop] == code


def test_it_says_what_is_missing(tmp_path: Path, project: Path) -> None:
    """Without its key files it ends with one line that names what is missing, and the mend."""
    with started(tmp_path, project, POURBOOK_CHECKPOINT_PASSWORD_FILE=str(tmp_path / "none")) as (process, lines):
        code = process.wait(timeout=60)
        said = lines.get(timeout=60)

    assert (1, True) == (code, str(tmp_path / "none") in said)


def test_the_checkpoint_key_is_rotated_while_it_serves(
    tmp_path: Path, project: Path, plant: tuple[dict[str, str], str]
) -> None:
    """Started with both keys it takes the takeover; started with the new key alone it serves on, and not with the old."""
    variables, token = plant
    new = create_key_file(tmp_path / "next.key", ORIGIN, "checkpoint", PASSWORD)
    old_id = open_key_file(tmp_path / "checkpoint.key", PASSWORD).verifier.key_id.hex()
    name = {"kind": "key-introduced", "at": AT, "key": ORIGIN, "purpose": "checkpoint"}
    takeover = [
        {**name, "verifier": format_verifier(new.verifier)},
        {"kind": "key-revoked", "at": AT, "key": ORIGIN, "id": old_id, "reason": "rotated"},
    ]
    following = {
        "POURBOOK_NEXT_CHECKPOINT_KEY_FILE": str(tmp_path / "next.key"),
        "POURBOOK_NEXT_CHECKPOINT_PASSWORD_FILE": str(tmp_path / "password"),
    }
    headers = {"authorization": f"Bearer {token}", "idempotency-key": "rotate-1"}
    with started(tmp_path, project, **variables, **following) as (process, lines):
        address = lines.get(timeout=60).split(" at ")[1].split(" ")[0]
        lines.get(timeout=60)
        entered = httpx.post(f"{address}/submissions", json={"records": takeover}, headers=headers, timeout=60)
        note = httpx.get(f"{address}/checkpoint", timeout=60).content
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=60)
    with started(tmp_path, project, **variables) as (process, lines):
        refused = process.wait(timeout=60), lines.get(timeout=60)
    alone = {**variables, "POURBOOK_CHECKPOINT_KEY_FILE": str(tmp_path / "next.key")}
    with started(tmp_path, project, **alone) as (_, lines):
        lines.get(timeout=60)
        ready = lines.get(timeout=60)

    assert (201, "ready\n") == (entered.status_code, ready)
    assert [new.verifier] == [line.verifier for line in check_checkpoint(note, [new.verifier]).log_signatures]
    assert (1, True) == (refused[0], "no checkpoint key of this process speaks for the book" in refused[1])
