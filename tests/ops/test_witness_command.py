"""`pourbook witness` as a process of its own: it begins, signs, stops, is killed at the worst moment, and goes on."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from ledger.book.checkpoint import check_checkpoint, sign_checkpoint
from ledger.book.merkle import prove_consistency, root
from ledger.book.signing import Signer, format_verifier
from ledger.book.witness import check_cosignature, format_add_checkpoint
from ops.cli import main
from ops.key_files import create_key_file
from tests.book.samples import LOG, ORIGIN, leaves

LEAVES = leaves(40)
PASSWORD = "a password for tests"

DYING = """
import os, signal, sys
from pathlib import Path
from api.server import serving
from api.witness.app import witness_app
from api.witness.known_logs import LogFile
from ledger.application.witness import Witness
from ledger.store.witness_state import open_witness_state
from ops.key_files import open_key_file

folder = Path(sys.argv[1])
signer = open_key_file(folder / "w.key", "a password for tests")
app = witness_app(Witness(open_witness_state(folder / "state"), [signer], LogFile(folder / "logs"), lambda: 1_773_000_000_000))

async def dying(scope, receive, send):
    async def last(message):
        if scope["type"] == "http":
            os.kill(os.getpid(), signal.SIGKILL)
        await send(message)
    await app(scope, receive, last)

with serving(dying) as address:
    print(address, flush=True)
    signal.pause()
"""


@pytest.fixture
def signer(tmp_path: Path) -> Signer:
    """The witness's key; its file, password and known logs lie in the folder."""
    (tmp_path / "password").write_text(PASSWORD, encoding="utf-8")
    (tmp_path / "logs").write_text(f"log {format_verifier(LOG.verifier)}\n", encoding="utf-8")
    return create_key_file(tmp_path / "w.key", "witness.example/w1", "witness", PASSWORD)


def words(folder: Path, *more: str) -> list[str]:
    """The command line of the witness of a folder."""
    files = ["--state", str(folder / "state"), "--key-file", str(folder / "w.key"), "--logs", str(folder / "logs")]
    return ["witness", *files, "--password-file", str(folder / "password"), "--port", "0", *more]


@contextmanager
def started(folder: Path, project: Path, *more: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The running command, which logs JSON to ``log`` in the folder, and its address; ended with the block."""
    environment = {**os.environ, "PYTHONUNBUFFERED": "1", "POURBOOK_LOG": "json"}
    command = [sys.executable, "-m", "ops.cli", *words(folder, *more)]
    with (
        (folder / "log").open("ab") as log,
        subprocess.Popen(
            command, cwd=project, env=environment, stdout=subprocess.PIPE, stderr=log, text=True
        ) as process,
    ):
        assert process.stdout is not None
        try:
            said = [process.stdout.readline() for _ in range(3)]
            assert "ready\n" == said[2]
            yield process, said[1].removeprefix("at ").split(" ")[0]
        finally:
            process.kill()


def post(address: str, old: int, new: int) -> httpx.Response:
    """Submit the log's checkpoint of a size."""
    note = sign_checkpoint(ORIGIN, new, root(LEAVES[:new]), [LOG])
    content = format_add_checkpoint(old, prove_consistency(LEAVES, old, new) if old else [], note)
    return httpx.post(f"{address}/add-checkpoint", content=content, timeout=60)


def test_it_signs_stops_and_remembers(tmp_path: Path, project: Path, signer: Signer) -> None:
    """Begun once, it goes on from what it signed; its verifier line is what it prints first."""
    with started(tmp_path, project, "--begin", "--prefix", "/w") as (process, address):
        assert address.endswith("/w")
        assert 200 == post(address, 0, 8).status_code
        process.send_signal(signal.SIGTERM)
        assert 0 == process.wait(60)
    with started(tmp_path, project) as (_, address):
        assert (409, "8\n") == (post(address, 0, 9).status_code, post(address, 0, 9).text)
        answer = post(address, 8, 9)
        shown = httpx.get(f"{address}/{hashlib.sha256(ORIGIN.encode()).hexdigest()}/checkpoint").content
    note = sign_checkpoint(ORIGIN, 9, root(LEAVES[:9]), [LOG])
    assert check_cosignature(note + answer.content, signer.verifier)
    assert 9 == check_checkpoint(shown, [LOG.verifier, signer.verifier]).tree_size


def test_killed_between_keeping_and_answering_it_knows_what_it_signed(
    tmp_path: Path, project: Path, signer: Signer
) -> None:
    """SIGKILL as the first byte of the answer goes out: the size is kept, and the log goes on from a 409."""
    with started(tmp_path, project, "--begin") as (_, address):
        post(address, 0, 5)
    with subprocess.Popen(
        [sys.executable, "-c", DYING, str(tmp_path)], cwd=project, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        with pytest.raises(httpx.TransportError):
            post(process.stdout.readline().strip(), 5, 12)
        assert -signal.SIGKILL == process.wait(60)
    with started(tmp_path, project) as (_, address):
        told = post(address, 5, 12)
        again = post(address, 12, 12)
    assert (409, "12\n", 200) == (told.status_code, told.text, again.status_code)


def test_what_did_not_fit_is_written_out(
    tmp_path: Path, project: Path, signer: Signer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both notes of a fork, each signed by the log, as files for whoever has to answer for them."""
    fork = sign_checkpoint(ORIGIN, 8, root([*LEAVES[:7], LEAVES[9]]), [LOG])
    with started(tmp_path, project, "--begin") as (_, address):
        post(address, 0, 8)
        refused = httpx.post(f"{address}/add-checkpoint", content=format_add_checkpoint(8, [], fork), timeout=60)
    assert 422 == refused.status_code
    assert 0 == main(["witness", "--state", str(tmp_path / "state"), "--misfits", str(tmp_path / "out")])
    shown, before = [(tmp_path / "out" / f"0001-{name}").read_bytes() for name in ("shown", "before")]
    heads = [check_checkpoint(note, [LOG.verifier], ORIGIN) for note in (shown, before)]
    assert (8, 8, False) == (heads[0].tree_size, heads[1].tree_size, heads[0].root_hash == heads[1].root_hash)
    assert f"0001  {ORIGIN}  8 entries" in capsys.readouterr().out
    (line,) = (tmp_path / "log").read_text("utf-8").splitlines()
    logged = json.loads(line)
    assert ("critical", "pourbook.witness") == (logged["level"], logged["logger"])
    assert logged["event"].startswith(f"log {ORIGIN} showed 8 entries")


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        ([], "witness's state is not there"),
        (["--begin", "--prefix", "no-slash"], "prefix or rate is none"),
        (["--begin", "--per-minute", "0"], "prefix or rate is none"),
        (["--begin", "--key-file", "another"], "each key file needs its password file"),
    ],
)
def test_what_it_cannot_start_with_is_told(
    tmp_path: Path, signer: Signer, more: list[str], problem: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line and the exit code 1; no state is made by mistake."""
    assert 1 == main(words(tmp_path, *more))
    assert problem in capsys.readouterr().err
    assert not (tmp_path / "state").exists()


def test_a_key_of_another_purpose_does_not_witness(
    tmp_path: Path, signer: Signer, capsys: pytest.CaptureFixture[str]
) -> None:
    """One key, one purpose."""
    create_key_file(tmp_path / "other.key", ORIGIN, "checkpoint", PASSWORD)
    given = [word.replace("w.key", "other.key") for word in words(tmp_path, "--begin")]
    assert 1 == main(given)
    assert "expected witness, got checkpoint" in capsys.readouterr().err
    assert not (tmp_path / "state").exists()
