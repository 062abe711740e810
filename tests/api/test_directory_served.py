"""The directory over HTTP: a real server, and a real process of the command."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from api.directory.app import Limits, directory_app
from api.outgoing import Outgoing
from api.server import serving
from ledger.line.gs1 import format_link
from ledger.line.serial import serial_at
from ledger.tracing.plants import parse_plants
from ledger.tracing.whose_serial import OWN_CAUTION
from tests.tracing.plant_files import GTIN, directory, https_alone, plant_table

PROJECT = Path(__file__).resolve().parents[2]
OWN = serial_at(5, bytes(16))
OTHER = "04006381333931"
FILE = directory(
    plant_table("north", "own = true", 'pattern = "8A99"'), plant_table("south", "own = true", gtins=f'["{OTHER}"]')
)
PLANTS = parse_plants(FILE, "plants.toml", https_alone)


@pytest.fixture(scope="module")
def client() -> Iterator[httpx.Client]:
    """A client of a running directory whose plants are where nothing listens."""
    away = [plant._replace(address="http://127.0.0.1:1") for plant in PLANTS]
    with (
        serving(directory_app(away, Outgoing(5), Limits(per_minute=6_000, burst=1_000))) as address,
        httpx.Client(base_url=address, timeout=30) as client,
    ):
        yield client


def test_plants_are_listed(client: httpx.Client) -> None:
    """Each plant is told with its book, its address, its keys and its serials."""
    north, south = client.get("/plants").json()
    assert ("north", "north.test/book", [GTIN]) == (north["id"], north["origin"], north["gtins"])
    assert ["the own scheme", "pattern 8A99"] == north["serials"]
    assert south["verifiers"][0].startswith("south.test/book+")


def test_number_is_told_by_plant(client: httpx.Client) -> None:
    """An own number is of both, a label's of the one that makes its product, a worn one names the places taken."""
    both = client.get("/whose", params={"serial": OWN}).json()
    assert (["north", "south"], [OWN_CAUTION]) == ([one["plant"] for one in both["plants"]], both["cautions"])
    one = client.get("/whose", params={"serial": format_link("id.example.com", OTHER, OWN)}).json()
    assert [("south", OWN)] == [(plant["plant"], plant["number"]) for plant in one["plants"]]
    worn = client.get("/whose", params={"serial": "BA12", "made_on": "2026-07-01"}).json()
    assert [{"plant": "north", "serials": "pattern 8A99", "alike": [1], "number": "8A12"}] == worn["plants"]
    assert [] == client.get("/whose", params={"serial": "QQ"}).json()["plants"]


def test_plant_that_does_not_answer_is_told(client: httpx.Client) -> None:
    """Asked of plants that are down, each has its reason and none an answer."""
    told = client.get("/whose", params={"serial": OWN, "ask": "true"}).json()["answers"]
    assert [("north", GTIN), ("south", OTHER)] == [(one["plant"], one["gtin"]) for one in told]
    assert all(one["why"].startswith("it cannot be reached") and "answer" not in one for one in told)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({}, "number has a wrong length"),
        ({"serial": OWN, "made_on": "soon"}, "no such date"),
        ({"serial": OWN, "gtin": "12"}, "gtin has a length"),
        ({"serial": OWN, "who": "me"}, "question has an unknown part"),
    ],
)
def test_question_that_is_none_is_refused(client: httpx.Client, asked: dict[str, str], says: str) -> None:
    """A question that cannot be read is a 400 that says what is wrong."""
    answer = client.get("/whose", params=asked)
    assert 400 == answer.status_code
    assert says in answer.json()["detail"]
    assert [404, 405] == [client.get("/").status_code, client.post("/whose").status_code]


def test_one_address_may_not_ask_without_end() -> None:
    """After its burst an address is told when to ask again."""
    with serving(directory_app(PLANTS, Outgoing(5), Limits(per_minute=1, burst=2))) as address:
        answers = [httpx.get(f"{address}/plants") for _ in range(3)]
    assert [200, 200, 429] == [answer.status_code for answer in answers]
    assert int(answers[2].headers["retry-after"]) >= 1


def test_command_serves_until_it_is_stopped(tmp_path: Path) -> None:
    """The command reads the file, tells its address, answers, and ends with 0 when it is asked to."""
    file = tmp_path / "plants.toml"
    file.write_bytes(FILE)
    words = [sys.executable, "-m", "ops.cli", "directory", "serve", "--plants", str(file), "--port", "0"]
    with subprocess.Popen(words, cwd=PROJECT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        first, second = process.stdout.readline(), process.stdout.readline()
        assert (True, "ready\n") == (first.startswith("directory of 2 plants at http://"), second)
        assert 2 == len(httpx.get(f"{first.split(' at ')[1].split(' ')[0]}/plants").json())
        process.send_signal(signal.SIGTERM)
        assert 0 == process.wait(30)
