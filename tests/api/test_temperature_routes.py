"""Temperature logs over HTTP: a CSV in, its summary and its breaches out, its points back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.api.running import Service, running
from tests.plant import AT

PATH = "/lots/SL-1/temperature-log"
WINDOW = {"stage": "final-cure", "min_s": 3_600, "low_c": "21", "gap_s": 600}


@pytest.fixture(scope="module")
def cured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose plan asks for a temperature of the final cure; no ball is made yet."""
    with running(tmp_path_factory.mktemp("cured")) as service:
        plan = {"kind": "plan-set", "at": AT, "model": "M1", "windows": [WINDOW], "inspect": [], "rulebooks": []}
        assert 201 == service.say("quality", plan).status_code
        yield service


def csv(*degrees: str) -> bytes:
    """A log with a reading every five minutes from the demoulding on."""
    return "".join(f"2026-03-02T08:{5 * place:02d}:00Z,{one}\n" for place, one in enumerate(degrees)).encode()


def send(
    service: Service, raw: Any, *, role: str = "station", stage: str = "final-cure", **headers: str
) -> httpx.Response:
    """Send a log as CSV."""
    sent = {"content-type": "text/csv; charset=utf-8", **service.key(), **headers}
    return service[role].post(PATH, params={"stage": stage}, content=raw, headers=sent)


def test_a_log_is_entered_with_its_summary_and_its_breaches(cured: Service) -> None:
    """201 with a receipt; the summary; what the plan asks otherwise; and the same from the lot, with points."""
    key = {"idempotency-key": "rack-7"}
    answer = send(cured, csv("20.5", "21.5", "23"), **key)
    said = answer.json()
    assert (201, "20.5", "23", 150_000) == (
        answer.status_code, said["summary"]["coldest_c"], said["summary"]["warmest_c"], said["summary"]["below_ms"],
    )  # fmt: skip
    assert ["cure-temperature", "cure-temperature-partial"] == [one["code"] for one in said["breaches"][0]]
    assert said["receipt"]
    again = send(cured, csv("20.5", "21.5", "23"), **key)
    assert (200, said["entry"], True) == (again.status_code, again.json()["entry"], again.json()["repeated"])
    [log] = cured["desk"].get(PATH, params={"stage": "final-cure"}).json()["logs"]
    assert ("20.5 to 23 deg C, no gaps", "stored", said["digest"]) == (log["says"], log["file"], log["digest"])
    assert ["20.5", "21.5", "23"] == [point["celsius"] for point in log["points"]]
    assert log["says"] == cured["desk"].get("/lots/SL-1").json()["temperatures"][0]["says"]
    read = cured["auditor"].get(f"/blobs/{said['digest']}")
    assert (csv("20.5", "21.5", "23"), "text/csv") == (read.content, read.headers["content-type"].split(";")[0])


@pytest.mark.parametrize(
    ("raw", "where", "said"),
    [
        (b"2026-03-02T08:00:00,20\n", "line 1", "offset"),
        (csv("20", "x"), "line 2", "no decimal"),
        (csv("20", "900"), "line 2", "not plausible"),
        (csv("20", "20") + csv("20"), "line 3", "out of order"),
        (b"", "body", "too few"),
    ],
)
def test_what_cannot_be_read_is_a_400_that_names_the_line(cured: Service, raw: bytes, where: str, said: str) -> None:
    """With what would mend it."""
    answer = send(cured, raw)
    problem = answer.json()
    assert (400, where, True) == (answer.status_code, problem["where"], bool(problem["mend"]))
    assert said in problem["detail"]


def test_what_the_line_refuses(cured: Service) -> None:
    """Another stage of the lot is a 409, a lot that is not there a 422; and a key is asked for."""
    assert 409 == send(cured, csv("20", "20"), stage="core-rest").status_code
    assert 400 == send(cured, csv("20", "20"), stage="baking").status_code
    headers = {"content-type": "text/csv", **cured.key()}
    lost = cured["station"].post(
        "/lots/NONE/temperature-log", params={"stage": "final-cure"}, content=csv("20", "20"), headers=headers
    )
    assert (422, 404) == (lost.status_code, cured["desk"].get("/lots/NONE/temperature-log").status_code)
    keyless = cured["station"].post(PATH, params={"stage": "final-cure"}, content=csv("20", "20"))
    assert (400, "Idempotency-Key") == (keyless.status_code, keyless.json()["where"])


def test_another_type_is_refused(cured: Service) -> None:
    """What is said to be JSON is no log."""
    answer = send(cured, csv("20", "20"), **{"content-type": "application/json"})
    assert (400, "Content-Type") == (answer.status_code, answer.json()["where"])


def test_the_limit_is_a_setting(tmp_path: Path) -> None:
    """One byte more than the limit is a 413, however it is sent."""
    raw = csv("20", "20")
    with running(tmp_path, temperature_log_limit=len(raw)) as service:
        assert 201 == send(service, raw).status_code
        for more in (raw + b" ", iter([raw, b" "])):
            assert 413 == send(service, more).status_code


def test_roles_of_logs(cured: Service) -> None:
    """Whoever stands at the line sends one; the desk and the auditor look, and send none."""
    assert [201, 201, 403, 403] == [
        send(cured, csv("22", "23"), role=role).status_code for role in ("station", "inspector", "desk", "auditor")
    ]
    assert 401 == cured.nobody.get(PATH).status_code
