"""Capability and control charts over HTTP: as data, as pictures, and refused with what would mend it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service, engraved, running
from tests.conformity.pictures import inside, read_back, words_of

MASSES = ("15.05", "15.07", "15.04", "15.06", "15.05", "15.98")
ASKED = {"quantity": "mass", "model": "M1"}
LIMITED = {**ASKED, "rulebook": "usbc-2026"}


@pytest.fixture(scope="module")
def weighed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose book holds six balls; the last leaps. Long answers are made in a process of their own."""
    with running(tmp_path_factory.mktemp("weighed"), long_reads=1) as service:
        for number, mass in enumerate(MASSES, 1):
            readings = [{"quantity": "mass", "unit": "lb", "values": [mass], "gauge": "G1"}]
            body = engraved(number, readings=readings, at=f"2026-03-02T08:0{number}:00.000+00:00")
            assert 201 == service["station"].post("/balls", json=body, headers=service.key()).status_code
        yield service


def test_charts_as_data(weighed: Service) -> None:
    """A point a ball, in order of reading, with its number; limits of a rulebook stand beside where one is named."""
    figures = weighed["inspector"].get("/charts", params={**LIMITED, "by": "mould"}).json()
    [group] = figures["groups"]
    assert ("lb", "MS1", 6) == (figures["unit"], group["group"], group["readings"])
    assert ["individuals", "moving_range"] == [chart["id"] for chart in group["charts"]]
    assert [float(mass) for mass in MASSES] == [point["value"] for point in group["charts"][0]["points"]]
    assert {"P000006"} == {signal["label"] for signal in group["signals"]}
    assert ("16.00", True) == (f"{float(group['limits']['high']):.2f}", bool(group["limits"]["says"]))
    assert "limits" not in weighed["inspector"].get("/charts", params=ASKED).json()["groups"][0]


def test_capability_as_data(weighed: Service) -> None:
    """Indices with their interval, in words too."""
    [group] = weighed["quality"].get("/capability", params={**LIMITED, "by": "station"}).json()["groups"]
    found = group["capability"]
    assert ("E1", 6) == (group["group"], found["count"])
    assert found["cpk_interval"]["low"] < found["indices"]["cpk"] < found["cpk_interval"]["high"]
    assert any("Cpk" in line for line in group["says"])


@pytest.mark.parametrize("path", ["/charts", "/capability"])
def test_the_same_as_a_picture(weighed: Service, path: str) -> None:
    """By its own address or by Accept: one SVG, whole in itself, that runs nothing."""
    by_address = weighed["auditor"].get(f"{path}.svg", params=LIMITED)
    by_accept = weighed["auditor"].get(path, params=LIMITED, headers={"accept": "image/svg+xml"})
    assert (200, "image/svg+xml", by_address.content) == (
        by_accept.status_code, by_accept.headers["content-type"].split(";")[0], by_accept.content,
    )  # fmt: skip
    root = read_back(by_address.text)
    assert inside(root)
    assert "weight, model M1" in words_of(root, "text")
    assert "default-src 'none'" in by_address.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("path", "asked", "status", "where"),
    [
        ("/charts", {"quantity": "hardness"}, 404, "quantity"),
        ("/charts", {"quantity": "loudness"}, 400, "quantity"),
        ("/charts", {**ASKED, "from_on": "2026-02-30"}, 400, "from_on"),
        ("/charts", {**ASKED, "by": "moon"}, 400, "by"),
        ("/charts", {**ASKED, "subgroups": "lot"}, 404, "quantity"),
        ("/charts.svg", {**ASKED, "by": "lot", "group": "SL-9"}, 404, "group"),
        ("/capability", ASKED, 400, "rulebook"),
        ("/capability", {**ASKED, "rulebook": "none-such"}, 404, "rulebook"),
        ("/capability.svg", {**LIMITED, "to_on": "2026-03-01"}, 404, "quantity"),
    ],
)
def test_what_cannot_be_answered(weighed: Service, path: str, asked: dict[str, str], status: int, where: str) -> None:
    """A problem that says where, and (but for an unknown name) what would mend it."""
    answer = weighed["quality"].get(path, params=asked)
    assert (status, where) == (answer.status_code, answer.json()["where"])
    assert answer.json().get("mend") or asked["quantity"] == "loudness"


def test_roles_of_figures(weighed: Service) -> None:
    """Whoever may ask for conformity may ask for these."""
    asked = [
        weighed[role].get("/charts", params=ASKED).status_code for role in ("inspector", "auditor", "station", "desk")
    ]
    assert [200, 200, 403, 403] == asked
