"""Containment over HTTP, on each database: a suspect counted, held, written about, answered for, and closed to the last ball."""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pypdfium2  # type: ignore[import-untyped]  # the package has no type marker
import pytest

from tests.api.running import Service, running
from tests.plant import AT
from tests.stores import fresh_database, postgres_server


@pytest.fixture(params=["sqlite", "postgresql"], scope="module")
def plant(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with eight balls of SL-1: 1 and 2 sent to SHOP-1, 3 to SHOP-2, 4 outside the register."""
    folder: Path = tmp_path_factory.mktemp("containment")
    if request.param == "sqlite":
        with running(folder, balls=8) as service:
            yield _sent(service)
        return
    with postgres_server() as server, running(folder, balls=8, url=fresh_database(server)) as service:
        yield _sent(service)


def _sent(service: Service) -> Service:
    for shop in ("SHOP-1", "SHOP-2"):
        said = {"kind": "consignee-registered", "at": AT, "consignee": shop, "market": "north"}
        answer = service.say("desk", {**said, "name": f"Shop {shop[-1]}", "address": "1 High Street\nSampleton"})
        assert 201 == answer.status_code, answer.text
    for shipment, units, where in (
        ("SH-1", (1, 2), {"to": "SHOP-1"}), ("SH-2", (3,), {"to": "SHOP-2"}), ("SH-3", (4,), {"consignee": "A lab"}),
    ):  # fmt: skip
        sent: dict[str, Any] = {"kind": "shipment", "at": AT, "shipment": shipment, "units": [unit(n) for n in units]}
        answer = service.say("station", {**sent, "purpose": "sample", **where})
        assert 201 == answer.status_code, answer.text
    return service


def unit(number: int) -> str:
    """A ball of the plant."""
    return f"U-{number:06d}"


def opened(service: Service, case: str, role: str = "quality", **fields: Any) -> Any:
    """Open a case, by default on SL-1."""
    body = {"case": case, "why": "found", "reason": "soft-shells", "suspect": {"sort": "shell-lot", "name": "SL-1"}}
    return service[role].post("/cases", json={**body, **fields}, headers=service.key())


def test_a_suspect_is_counted_before_anything_is_said(plant: Service) -> None:
    """Where its balls are, who has them, and what an order would hold; a suspect that is not there is a 404."""
    before = plant.book.checkpoint()
    answer = plant["desk"].get("/suspects", params={"sort": "shell-lot", "name": "SL-1"})
    assert 200 == answer.status_code, answer.text
    told = answer.json()
    places = {one["place"]: one["certain"] for one in told["places"]}
    assert (8, 4, 4) == (told["balls"]["certain"], places["in-stock"], places["shipped"])
    assert {("SHOP-1", 2), ("SHOP-2", 1), (None, 1)} == {
        (one["consignee"], one["certain"]) for one in told["consignees"]
    }
    assert ["SL-1"] == told["holds"]["lots"]
    assert before == plant.book.checkpoint()
    poured = plant["desk"].get("/lots/SL-1").json()["began_at"]
    week = dt.datetime.fromisoformat(poured).strftime("%G-W%V")
    of_week = plant["desk"].get("/suspects", params={"sort": "week", "name": week}).json()
    assert (told["balls"], ["SL-1"]) == (of_week["balls"], of_week["holds"]["lots"])
    assert 400 == plant["desk"].get("/suspects", params={"sort": "week", "name": "2026-W54"}).status_code
    missing = plant["auditor"].get("/suspects", params={"sort": "core-lot", "name": "SL-1"})
    assert (404, "name") == (missing.status_code, missing.json()["where"])
    wrong = plant["auditor"].get("/suspects", params={"sort": "serials", "name": "SL-1"})
    assert (400, "suspect") == (wrong.status_code, wrong.json()["where"])
    assert 403 == plant["station"].get("/suspects", params={"sort": "mould", "name": "MS-1"}).status_code


def test_a_case_runs_from_suspicion_to_the_last_ball(plant: Service) -> None:
    """Opened and ordered at once, written about, answered by file and by JSON, lifted by two people, and closed."""
    done = opened(plant, "C-1", order={"action": "recall"})
    assert (201, 3) == (done.status_code, len(done.json()["facts"])), done.text
    assert "licensed counsel" in done.json()["caution"]
    held = plant.say("station", {
        "kind": "shipment", "at": AT, "shipment": "SH-9", "units": [unit(5)], "to": "SHOP-1", "purpose": "sample",
    })  # fmt: skip
    assert (422, "rule-stands") == (held.status_code, held.json()["code"])
    letters = plant["quality"].post("/cases/C-1/letters", json={}, headers=plant.key())
    assert (201, 2) == (letters.status_code, len(letters.json()["facts"])), letters.text
    letter = plant["desk"].get("/cases/C-1/letters/SHOP-1.pdf")
    assert ("application/pdf", 200) == (letter.headers["content-type"], letter.status_code)
    text = pypdfium2.PdfDocument(letter.content)[0].get_textpage().get_text_range()
    assert all(words in text for words in ("Recall of the balls listed here", "Shop 1", "P000001", "P000002", "C-1"))
    assert "P000003" not in text
    _letters_in_one(plant, letter.content)
    rows = list(csv.DictReader(io.StringIO(plant["desk"].get("/cases/C-1/notices.csv").text)))
    assert [("SHOP-1", 1), ("SHOP-1", 2), ("SHOP-2", 3), ("", 4)] == [
        (row["consignee"], int(row["unit"][-1])) for row in rows
    ]
    _answer(plant, rows)
    view = plant["auditor"].get("/cases/C-1").json()
    summed = view["reconciliation"]
    assert (8, 1) == (summed["balls"], summed["unaccounted"])
    assert {"sold": 1, "in-stock": 1, "destroyed": 1, "unaccounted": 1} == {
        answer: count for answer, count in summed["answers"].items() if count
    }
    _lift_and_close(plant)


def _letters_in_one(plant: Service, first: bytes) -> None:
    """Each consignee's letter is in the zip as it is by itself, and asked for again it is the same to the byte."""
    one, again = (plant["desk"].get("/cases/C-1/letters.zip") for _ in range(2))
    assert ("application/zip", 200) == (one.headers["content-type"], one.status_code)
    assert one.content == again.content
    with zipfile.ZipFile(io.BytesIO(one.content)) as archive:
        assert (["SHOP-1.pdf", "SHOP-2.pdf"], None) == (archive.namelist(), archive.testzip())
        assert first == archive.read("SHOP-1.pdf")
    assert 403 == plant["station"].get("/cases/C-1/letters.zip").status_code


def _answer(plant: Service, rows: list[dict[str, str]]) -> None:
    """SHOP-1 sends the list back, SHOP-2 answers by JSON; what is wrong is told line by line."""
    out = io.StringIO()
    lines = csv.DictWriter(out, rows[0])
    lines.writeheader()
    said = {unit(1): "sold", unit(2): "In Stock"}
    lines.writerows({**row, "answer": said.get(row["unit"], "")} for row in rows)
    out.write("C-1,SHOP-1,,,NO-SUCH,,,,,sold,\r\n")
    headers = {**plant.key(), "content-type": "text/csv"}
    for _ in range(2):
        taken = plant["desk"].post("/cases/C-1/answers", content=out.getvalue(), headers=headers)
        assert 200 == taken.status_code, taken.text
        told = taken.json()
        assert (2, 2, [6]) == (told["accepted"], told["silent"], [line["line"] for line in told["refused"]])
    body = {
        "consignee": "SHOP-2",
        "answers": [{"unit": unit(3), "said": "destroyed"}, {"unit": unit(1), "said": "sold"}],
    }
    answered = plant["desk"].post("/cases/C-1/answers", json=body, headers=plant.key()).json()
    assert (2, ["answer-not-sent"]) == (answered["accepted"], [one["code"] for one in answered["doubted"]])
    assert 403 == plant["auditor"].post("/cases/C-1/answers", json=body, headers=plant.key()).status_code
    plain = {**plant.key(), "content-type": "text/plain"}
    assert 400 == plant["desk"].post("/cases/C-1/answers", content="x", headers=plain).status_code


def _lift_and_close(plant: Service) -> None:
    """Two people lift; the desk may not; the count of what is unaccounted for has to be named."""
    lift = {"json": {"reason": "sound"}}
    assert 403 == plant["desk"].post("/cases/C-1/lift", headers=plant.key(), **lift).status_code  # type: ignore[arg-type]  # of httpx
    assert 201 == plant["quality"].post("/cases/C-1/lift", headers=plant.key(), **lift).status_code  # type: ignore[arg-type]  # of httpx
    close = {"kind": "case-closed", "at": AT, "case": "C-1", "decision": "contained", "reason": "nothing-more"}
    standing = plant.say("quality", {**close, "closed_with_unaccounted": 1})
    assert (422, True) == (standing.status_code, "C-1.1" in standing.json()["detail"])
    again = plant["quality"].post("/cases/C-1/lift", headers=plant.key(), **lift)  # type: ignore[arg-type]  # of httpx
    assert (422, "rule-stands") == (again.status_code, again.json()["code"])
    second = plant.book.open_account("Second", ("quality",))[1]
    with plant.client(second) as client:
        assert 201 == client.post("/cases/C-1/lift", headers=plant.key(), **lift).status_code  # type: ignore[arg-type]  # of httpx
    for count in ({}, {"closed_with_unaccounted": 2}):
        refused = plant.say("quality", {**close, **count})
        assert (422, "records[0].closed_with_unaccounted") == (refused.status_code, refused.json()["where"])
    assert 201 == plant.say("quality", {**close, "closed_with_unaccounted": 1}).status_code
    cases = {one["case"]: one for one in plant["desk"].get("/cases").json()["cases"]}
    assert (False, 1, 0) == (
        cases["C-1"]["open"], cases["C-1"]["closed_with_unaccounted"], cases["C-1"]["open_holds"],
    )  # fmt: skip


def test_the_balls_of_a_case_stream_in_both_forms(plant: Service) -> None:
    """NDJSON and CSV hold the same balls; a case that is not there is a 404."""
    assert opened(plant, "C-2").status_code in {200, 201}
    lines = plant["auditor"].get("/cases/C-2/balls")
    table = plant["auditor"].get("/cases/C-2/balls", params={"form": "csv"})
    assert ("application/x-ndjson", "text/csv; header=present; charset=utf-8") == (
        lines.headers["content-type"], table.headers["content-type"],
    )  # fmt: skip
    units = [msgspec.json.decode(line)["unit"] for line in lines.text.splitlines()]
    assert [unit(number) for number in range(1, 9)] == units
    assert units == [row["unit"] for row in csv.DictReader(io.StringIO(table.text))]
    for path in ("/cases/C-9", "/cases/C-9/balls", "/cases/C-9/notices.csv", "/cases/C-2/letters/SHOP-1.pdf",
                 "/cases/C-2/letters.zip", "/cases/C-9/letters.zip"):  # fmt: skip
        assert 404 == plant["desk"].get(path).status_code


def test_cases_are_opened_by_quality_and_refused_clearly(plant: Service) -> None:
    """The desk may not; nothing below, an unknown order, a second opening, each has its own answer."""
    assert 403 == opened(plant, "C-3", role="desk").status_code
    nothing = opened(plant, "C-3", suspect={"sort": "serials", "serial_prefix": "ZZ"})
    assert (422, "unknown-subject") == (nothing.status_code, nothing.json()["code"])
    assert 400 == opened(plant, "C-3", order={"action": "none"}).status_code
    assert 201 == opened(plant, "C-3").status_code
    assert (409, "contradiction") == (
        opened(plant, "C-3").status_code, opened(plant, "C-3").json()["code"],
    )  # fmt: skip
    ordered = plant["quality"].post("/cases/C-3/orders", json={"action": "stop-sale"}, headers=plant.key())
    assert 201 == ordered.status_code, ordered.text


def test_a_hold_on_nothing_is_refused(plant: Service) -> None:
    """And so is an order that names a hold which does not stand."""
    placed = plant.say("quality", {"kind": "hold-placed", "at": AT, "hold": "H-0", "reason": "x", "node": "lot:NONE"})
    assert (422, "unknown-subject") == (placed.status_code, placed.json()["code"])
    order = {"kind": "case-ordered", "at": AT, "case": "C-2", "action": "recall", "holds": ["H-0"]}
    opened(plant, "C-2")
    assert (422, "records[0].holds[0]") == (
        plant.say("quality", order).status_code, plant.say("quality", order).json()["where"],
    )  # fmt: skip


def test_consignees_are_shown_with_what_they_have(plant: Service) -> None:
    """By the book: name, market and balls."""
    seen = {one["consignee"]: one for one in plant["desk"].get("/consignees").json()["consignees"]}
    assert ("Shop 1", "north", 2) == tuple(seen["SHOP-1"][name] for name in ("name", "market", "balls"))
    view = plant["auditor"].get("/consignees/SHOP-1").json()
    assert [unit(1), unit(2)] == [ball["unit"] for ball in view["balls"]]
    assert 404 == plant["desk"].get("/consignees/SHOP-9").status_code
    assert 403 == plant["station"].get("/consignees").status_code
