"""Long reads over HTTP: the same answers with and without processes of their own, and an end that leaves none behind."""

from __future__ import annotations

import io
import multiprocessing
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import httpx
import pytest

import api.routes.conformity
from ledger.evidence.verifier import check_dossier
from tests.api.running import Service, engraved, running
from tests.api.test_serve_command import plant
from tests.application import asked
from tests.plant import VERIFIER

__all__ = ["plant"]

LONG = [
    ("get", "/lots/MT-1/below", None),
    ("get", "/conformity?rulebook=usbc-2026&lot=SL-1&listed=2", None),
    ("post", "/conformity", {"rulebook": "usbc-2026", "listed": 1}),
    ("get", "/lots/NONE/below", None),
    ("get", "/conformity?rulebook=none", None),
    ("post", "/dossiers", {"serials": ["P000001", "P000003"]}),
    ("post", "/dossiers", {"serials": ["P404404"]}),
]


@pytest.fixture(scope="module")
def apart(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with three balls and a process for long reads."""
    with running(tmp_path_factory.mktemp("apart"), balls=3, long_reads=1) as one:
        yield one


def processes() -> list[int]:
    """The ids of this process's reading processes."""
    return [child.pid for child in multiprocessing.active_children() if child.name == "long read" and child.pid]


def answers(service: Service) -> list[tuple[int, str, bytes]]:
    """What each long question is answered with."""
    found = [service["auditor"].request(method, path, json=body) for method, path, body in LONG]
    return [(one.status_code, one.headers["content-type"], one.content) for one in found]


def test_a_process_answers_as_a_thread_does(tmp_path: Path, apart: Service) -> None:
    """Status, type and content are the same, refusals too; and a process is started for the first of them only."""
    found = answers(apart)
    assert 1 == len(processes())
    with running(tmp_path, balls=3, long_reads=0) as threads:
        expected = answers(threads)
        assert 1 == len(processes())
    statuses = [200, 200, 200, 404, 404, 200, 404]
    assert (statuses, statuses) == ([one[0] for one in found], [one[0] for one in expected])
    # Instants and account ids are each book's own, so that dossiers are compared by what a check finds.
    assert [one[:2] for one in expected] == [one[:2] for one in found]
    assert [one[2] for one in expected[:5]] == [one[2] for one in found[:5]]
    assert 2 == check_dossier(io.BytesIO(found[5][2]), [VERIFIER]).counts.balls


def test_a_process_that_dies_is_a_503(apart: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asked may ask again at once, and is answered by a new process."""
    asking = {"rulebook": "usbc-2026", "listed": 1}
    before = apart["quality"].post("/conformity", json=asking)
    with monkeypatch.context() as patched:
        patched.setattr(api.routes.conformity, "conformity_of", asked.dies)
        died = apart["quality"].post("/conformity", json=asking)
    after = apart["quality"].post("/conformity", json=asking)
    assert (503, "1", "store-unavailable") == (died.status_code, died.headers["retry-after"], died.json()["code"])
    assert (200, 200, before.content) == (before.status_code, after.status_code, after.content)


def test_nobody_waits_for_a_long_read(apart: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the middle of a long read registrations are entered, and it is told what else is affected."""
    for name in ("begun", "go on"):
        os.mkfifo(tmp_path / name)
    monkeypatch.setattr(api.routes.conformity, "conformity_of", partial(asked.waits_at, str(tmp_path)))
    with ThreadPoolExecutor(1) as other:
        waiting = other.submit(apart["quality"].post, "/conformity", json={"rulebook": "usbc-2026"})
        assert "begun" == (tmp_path / "begun").read_text("utf-8")
        entered = apart["station"].post("/balls", json=engraved(50), headers=apart.key())
        below = apart["auditor"].get("/lots/MT-1/below")
        assert not waiting.done()
        (tmp_path / "go on").write_text("go on", "utf-8")
        assert 200 == waiting.result(60).status_code
    assert (201, 200, True) == (entered.status_code, below.status_code, b"U-000050" in below.content)


def parents() -> dict[int, int]:
    """The parent of each process of this machine."""
    listed = subprocess.run(["ps", "-A", "-o", "pid=,ppid="], capture_output=True, text=True, check=True).stdout
    return {int(pid): int(parent) for pid, parent in map(str.split, listed.splitlines())}


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda stop: stop.name)
def test_no_process_outlasts_the_service(
    tmp_path: Path, project: Path, plant: tuple[dict[str, str], str], stop: signal.Signals
) -> None:
    """A signal to the whole group, as a Ctrl-C is, ends the service as ever, quietly, and its process with it; a kill too."""
    variables, token = plant
    store = f"sqlite:///{tmp_path / 'book.sqlite'}"
    command = [sys.executable, "-m", "ops.cli", "serve", "--port", "0", "--store", store]
    environment = {**os.environ, **variables, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, cwd=project, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        start_new_session=True,
    ) as service:  # fmt: skip
        assert service.stdout is not None
        address = service.stdout.readline().split(" at ")[1].split(" ")[0]
        assert "ready\n" == service.stdout.readline()
        assert service.pid not in parents().values()
        headers = {"authorization": f"Bearer {token}"}
        answer = httpx.get(f"{address}/conformity", params={"rulebook": "usbc-2026"}, headers=headers, timeout=60)
        started = [pid for pid, parent in parents().items() if parent == service.pid]
        if stop is signal.SIGKILL:
            service.kill()
        else:
            os.killpg(service.pid, stop)
        # The output ends when the last process that holds it has ended.
        said = service.communicate(timeout=60)[0]
    assert (200, True) == (answer.status_code, len(started) > 0)
    assert {signal.SIGINT: 130, signal.SIGTERM: 0, signal.SIGKILL: -9}[stop] == service.returncode
    assert "Traceback" not in said
