"""Signals over HTTP: as data, as pictures, for the roles that may see them, and refused with what would mend it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.running import Service, engraved, running
from tests.conformity.pictures import inside, read_back, words_of
from tests.plant import AT

LOTS, BALLS, CLAIMS = ("SL-1", "SL-2"), 25, 12


def second_lot() -> list[dict[str, Any]]:
    """Blocks, cores and shells of SL-2."""
    pour = {"model": "M1", "line": "L2", "mould_set": "MS1", "mixer": "MX1", "began_at": AT, "at": AT, "count": 50}
    batch = [{"lot": "BT-1", "kg": "1"}]
    blocks = {**pour, "kind": "blocks-moulded", "lot": "BL-2", "batches": batch}
    cores = {**pour, "kind": "cores-poured", "lot": "CL-2", "blocks": [{"lot": "BL-2", "count": 50}], "batches": batch}
    colours = [{"colour": "Grey", "lot": "BT-1", "kg": "1"}]
    shells = {**pour, "kind": "shells-poured", "lot": "SL-2", "revision": 1, "weight_class": 15, "colours": colours}
    return [blocks, cores, {**shells, "cores": [{"lot": "CL-2", "count": 50}]}]


@pytest.fixture(scope="module")
def claimed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose book holds two shell lots of 25 sold balls; the claims are on the second. Answers come from a process."""
    with running(tmp_path_factory.mktemp("claimed"), long_reads=1) as service:
        assert 201 == service.say("station", *second_lot()).status_code
        for lot, first in zip(LOTS, (1, 101), strict=True):
            for number in range(first, first + BALLS):
                answer = service["station"].post("/balls", json=engraved(number, lot=lot), headers=service.key())
                assert 201 == answer.status_code, answer.text
            units = [f"U-{number:06d}" for number in range(first, first + BALLS)]
            sent = {"kind": "shipment", "at": AT, "shipment": f"SH-{lot}", "units": units, "consignee": "A shop"}
            assert 201 == service.say("quality", {**sent, "purpose": "warranty"}).status_code
        for number in range(CLAIMS):
            claim = {"kind": "claim-opened", "claim": f"CL-{number}", "mode": "void", "unit": f"U-{101 + number:06d}"}
            opened = f"2026-03-{5 + number:02d}T08:00:00.000+00:00"
            assert 201 == service.say("desk", {**claim, "at": opened}).status_code
        yield service


def test_a_look_as_data(claimed: Service) -> None:
    """Every family, the bad lot first, with its ratio and what the rate means in words."""
    look = claimed["desk"].get("/signals").json()
    assert 8 == len(look["families"])
    [shell] = [family for family in look["families"] if family["family"] == "shell"]
    first = shell["listed"][0]
    assert ("SL-2", "signal", CLAIMS, None) == (first["name"], first["stands"], first["claims"], first["ratio_high"])
    assert (2 * BALLS, CLAIMS) == (look["balls"], look["claims"])
    assert any("53 looks" in said for said in look["says"])


def test_one_member_as_data(claimed: Service) -> None:
    """Its curve, the rest's, the forecast and the claims with their facts."""
    found = claimed["inspector"].get("/signals/shell/SL-2", params={"months": 3}).json()
    assert (CLAIMS, 0, 3) == (found["curve"]["claims"], found["rest"]["claims"], len(found["forecast"]["months"]))
    assert [f"CL-{number}" for number in range(CLAIMS)] == [one["claim"] for one in found["claims"]]


@pytest.mark.parametrize(
    "path", ["/signals.svg?family=shell", "/signals/shell/SL-2/survival.svg", "/signals/shell/SL-2/forecast.svg"]
)
def test_pictures(claimed: Service, path: str) -> None:
    """SVG that runs nothing and stands alone."""
    answer = claimed["auditor"].get(path)
    assert (200, "image/svg+xml") == (answer.status_code, answer.headers["content-type"].split(";")[0])
    root = read_back(answer.text)
    assert inside(root)
    assert any("SL-2" in text for text in words_of(root, "text"))
    assert "default-src 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("path", "status", "where"),
    [
        ("/signals?family=moon", 400, "family"),
        ("/signals?q=0", 400, "q"),
        ("/signals?on=2026-02-30", 400, "on"),
        ("/signals?on=2126-02-01", 400, "on"),
        ("/signals.svg", 400, "family"),
        ("/signals/moon/SL-2", 404, "family"),
        ("/signals/shell/SL-9", 404, "name"),
        ("/signals/shell/SL-2?months=0", 400, "months"),
        ("/signals/shell/SL-1/forecast.svg", 400, "months"),
    ],
)
def test_what_cannot_be_answered(claimed: Service, path: str, status: int, where: str) -> None:
    """A problem that says where."""
    answer = claimed["quality"].get(path)
    assert (status, where) == (answer.status_code, answer.json()["where"])


def test_roles_of_signals(claimed: Service) -> None:
    """Desk, inspection, quality and auditors; not the line."""
    roles = ("desk", "inspector", "quality", "auditor", "station", "admin")
    assert [200, 200, 200, 200, 403, 403] == [claimed[role].get("/signals").status_code for role in roles]
