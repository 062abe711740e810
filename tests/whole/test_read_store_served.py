"""A service whose late answers come from a standby, over HTTP: their age, what goes to the primary, and what is counted."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.book.instant import instant_ms
from tests.plant import AT
from tests.whole.postgres_pair import Pair, postgres_pair
from tests.whole.serving import Premises, ServiceProcess, new_premises

GTIN = "09521234543213"
AGE, AS_OF, SIZE = "pourbook-age", "pourbook-as-of", "pourbook-size"


@pytest.fixture(scope="module")
def pair() -> Iterator[Pair]:
    """A primary and its standby."""
    with postgres_pair() as one:
        yield one


@pytest.fixture
def premises(pair: Pair, tmp_path: Path) -> Premises:
    """A new book on the primary, in a database of its own that the standby has too."""
    pair.run("DROP DATABASE IF EXISTS book WITH (FORCE)")
    pair.run("CREATE DATABASE book TEMPLATE template0")
    made = new_premises(tmp_path, pair.book_at(standby=False))
    pair.wait_applied()
    return made


class Served:
    """A service process with a standby, its keeper's client, and that of somebody who has no account."""

    def __init__(self, address: str, premises: Premises) -> None:
        """Connections are kept until ``close``."""
        self.keeper = httpx.Client(base_url=address, timeout=60, headers={"authorization": f"Bearer {premises.token}"})
        self.anyone = httpx.Client(base_url=address, timeout=60)

    def register(self, ball: int) -> dict[str, Any]:
        """Register a ball; the answer."""
        body = {
            "unit": f"U-{ball:06d}", "lot": "SL-1", "serial": f"P{ball:06d}", "weight_class": 15, "station": "E1",
            "at": AT, "scheme": "prior",
        }  # fmt: skip
        answer = self.keeper.post("/balls", json=body, headers={"idempotency-key": f"ball-{ball}"})
        assert 201 == answer.status_code, answer.text
        found: dict[str, Any] = answer.json() | {SIZE: answer.headers[SIZE]}
        return found

    def until(self, path: str, *, lagging: bool, **headers: str) -> httpx.Response:
        """Ask until the answer comes from the standby, or until it does not."""
        turn = threading.Event()
        for _ in range(1_500):
            answer = self.anyone.get(path, headers=headers)
            if lagging == (AGE in answer.headers):
                return answer
            turn.wait(0.02)
        raise AssertionError(f"{path} is {'never' if lagging else 'always'} answered by the standby")

    def figure(self, name: str) -> float:
        """A figure of the service; 0 for one that it does not tell."""
        text = self.keeper.get("/metrics").text
        found = re.search(rf"^{re.escape(name)} (\S+)$", text, re.MULTILINE)
        return float(found[1]) if found else 0.0

    def close(self) -> None:
        """Close both."""
        self.keeper.close()
        self.anyone.close()


@contextmanager
def _served(pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch, limit_s: float) -> Iterator[Served]:
    monkeypatch.setenv("POURBOOK_READ_STORE", pair.book_at(standby=True))
    monkeypatch.setenv("POURBOOK_READ_LIMIT_S", str(limit_s))
    monkeypatch.setenv("POURBOOK_PUBLIC_PER_MINUTE", "600000")
    monkeypatch.setenv("POURBOOK_PUBLIC_BURST", "600000")
    service = ServiceProcess(premises)
    served = Served(service.ready(), premises)
    try:
        yield served
    finally:
        served.close()
        code = service.stop()
    assert 0 == code, premises.folder.joinpath("service.log").read_text()[-2000:]


def _public(ball: int) -> str:
    return f"/01/{GTIN}/21/P{ball:06d}"


def _answers(code: str) -> str:
    return f'pourbook_read_store_answers_total{{code="{code}"}}'


def test_late_answers_say_their_age_and_own_writes_are_seen(
    pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the standby is held back: old to others, new to who wrote, and never a refusal of what is there."""
    with _served(pair, premises, monkeypatch, 3_600) as served:
        served.register(1)
        served.until(_public(1), lagging=True)
        pair.run_on_standby("SELECT pg_wal_replay_pause()")
        size = int(served.until(_public(1), lagging=True).headers[SIZE])
        second = served.register(2)
        acknowledged_ms = time.time_ns() // 1_000_000
        assert str(second["entry"] + 1) == second[SIZE]

        late = served.anyone.get(f"/consistency?old=1&new={size}")
        assert str(size) == late.headers[SIZE]
        assert instant_ms(late.headers[AS_OF]) <= acknowledged_ms
        assert float(late.headers[AGE]) >= 0
        # Who wrote sees it; who has seen it elsewhere and says so, too; and nobody is told that it is not there.
        for answer in (
            served.keeper.get("/balls/U-000002"),
            served.keeper.get("/balls/U-000001"),
            served.anyone.get(_public(1), headers={SIZE: second[SIZE]}),
            served.anyone.get(_public(1), headers={"cookie": f"{SIZE}={second[SIZE]}"}),
            served.anyone.get(f"/receipts/{second['entry']}"),
            served.anyone.get(_public(2)),
        ):
            assert (200, False) == (answer.status_code, AGE in answer.headers), answer.request.url
        assert "number issued by us" in served.anyone.get(_public(2)).text
        assert AGE in served.anyone.get("/receipts/1").headers
        assert 404 == served.anyone.get("/receipts/99999").status_code

        pair.run_on_standby("SELECT pg_wal_replay_resume()")
        served.until(f"/receipts/{second['entry']}", lagging=True)
        assert 1 == served.figure('pourbook_read_store_usable{state="usable"}')
        assert served.figure(_answers("standby")) > 0
        assert served.figure(_answers("needs-newer")) >= 2


def test_pages_say_it_in_their_language(pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page from the standby has a line with its age, in English and in German; one of the primary has none."""
    with _served(pair, premises, monkeypatch, 3_600) as served:
        served.register(1)
        for language, words in (("en", r"As of .*\d\d:\d\d:\d\d</time>, .* behind"), ("de", r"Stand .*, .* zurück")):
            headers = {"accept": "text/html", "accept-language": language}
            assert re.search(words, served.until(_public(1), lagging=True, **headers).text)
        answer = served.anyone.get(_public(1), headers={**headers, SIZE: "99999"})
        assert (200, False) == (answer.status_code, "as-of" in answer.text)


def test_long_reads_come_from_the_standby_too(pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of verdicts and a dossier are made there in a process, with their age; held back, both are of the primary."""
    with _served(pair, premises, monkeypatch, 3_600) as served:
        served.register(1)
        served.until(_public(1), lagging=True)
        lag = {"rulebook": "usbc-2026", "lot": "SL-1"}
        judged = served.keeper.get("/conformity", params=lag)
        assert (200, True) == (judged.status_code, AGE in judged.headers), judged.text
        asked = {"serials": ["P000001"]}
        dossier = served.keeper.post("/dossiers", json=asked)
        assert (200, True) == (dossier.status_code, AGE in dossier.headers), dossier.text
        pair.run_on_standby("SELECT pg_wal_replay_pause()")
        served.register(2)
        for answer in (
            served.keeper.get("/conformity", params=lag),
            served.keeper.post("/dossiers", json={"serials": ["P000001", "P000002"]}),
        ):
            assert (200, False) == (answer.status_code, AGE in answer.headers), answer.text[:500]
        pair.run_on_standby("SELECT pg_wal_replay_resume()")


def test_past_the_limit_the_primary_answers(pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch) -> None:
    """A standby that stays behind for more than a second is left alone, and comes back when it has caught up."""
    with _served(pair, premises, monkeypatch, 1.5) as served:
        served.register(1)
        served.until(_public(1), lagging=True)
        pair.run_on_standby("SELECT pg_wal_replay_pause()")
        served.register(2)
        served.until(_public(1), lagging=False)
        served.until("/checkpoint", lagging=False)
        assert served.figure(_answers("behind")) > 0
        pair.run_on_standby("SELECT pg_wal_replay_resume()")
        served.until(_public(1), lagging=True)


def test_a_promoted_standby_answers_nothing(pair: Pair, premises: Premises, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once it follows nobody it is not asked: the primary answers, and the figures say so. It is the last test of this pair."""
    with _served(pair, premises, monkeypatch, 3_600) as served:
        served.register(1)
        served.until(_public(1), lagging=True)
        pair.promote()
        answer = served.until(_public(1), lagging=False)
        assert 200 == answer.status_code
        assert 0 == served.figure('pourbook_read_store_usable{state="usable"}')
        assert served.figure(_answers("away")) > 0
        served.register(2)
        assert 200 == served.anyone.get(_public(2)).status_code
