"""The main job, end to end, through a real service process over HTTP, on SQLite and on PostgreSQL."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import httpx
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from ledger.book.receipt import check_receipt
from ledger.errors import LedgerError
from ledger.evidence.verifier import check_dossier
from tests.plant import ORIGIN
from tests.stores import fresh_database, fresh_file
from tests.whole.damage import flip
from tests.whole.main_job import GTIN, RULEBOOK, Client, ball, gauge_records, lot_records, model_records, on
from tests.whole.serving import PROJECT, STEM, Premises, new_premises, served


class Job(NamedTuple):
    """The job as it was done: answers by what was asked for, and the service, which is still there."""

    premises: Premises
    client: Client
    serials: list[str]
    answers: dict[str, httpx.Response]
    dossier: bytes


def do_the_job(premises: Premises, client: Client) -> Job:
    """From one drum to balls that were released and shipped."""
    answers: dict[str, httpx.Response] = {}
    editions = client.get("/rulebooks")["rulebooks"]
    digest = next(edition["digest"] for edition in editions if edition["id"] == RULEBOOK)
    answers["model"] = client.say(*model_records(digest), *gauge_records())
    for record in lot_records():
        answers[record["kind"]] = client.say(record)
    answers["serials"] = client.post("/serials", {"station": "E1", "count": 3}, key="serials-1")
    serials = answers["serials"].json()["serials"]
    answers["ball"] = client.post("/balls", ball("U-1", serials[0]), key="ball-1")
    answers["second"] = client.post("/balls", ball("U-2", serials[1]))
    answers["soft"] = client.post("/balls", ball("U-3", serials[2], hardness="70.0"))
    answers["release"] = client.post("/releases", {"units": ["U-1", "U-2"], "grade": "first"}, key="release-1")
    answers["soft release"] = client.post("/releases", {"units": ["U-3"], "grade": "first"})
    shipment = {
        "kind": "shipment", "at": on(12), "shipment": "SH-1", "units": ["U-1"], "consignee": "A shop", "purpose": "sale",
    }  # fmt: skip
    answers["shipment"] = client.say(shipment)
    dossier = client.http.post("/dossiers", json={"serials": serials[:2]}).content
    return Job(premises, client, serials, answers, dossier)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Job]:
    """The job on each database."""
    folder = tmp_path_factory.mktemp("job")
    url = fresh_file(folder) if request.param == "sqlite" else fresh_database(request.getfixturevalue("postgres"))
    premises = new_premises(folder, url, [])
    with served(premises) as address:
        client = Client(address, premises.token)
        yield do_the_job(premises, client)
        client.http.close()


def command(*words: str) -> tuple[int, str]:
    """Exit code and output of a command of the project, in a process of its own."""
    ran = subprocess.run(
        [sys.executable, "-m", "ops.cli", *words], cwd=PROJECT, capture_output=True, text=True, timeout=120, check=False
    )
    return ran.returncode, ran.stdout + ran.stderr


def test_each_step_is_entered(job: Job) -> None:
    """Every step is answered with its entry and nothing is found wrong with any; the soft ball is not first quality."""
    wanted = dict.fromkeys(job.answers, 201) | {"soft release": 422}
    assert wanted == {name: answer.status_code for name, answer in job.answers.items()}
    breaches = [answer.json().get("breaches", []) for answer in job.answers.values()]
    assert [] == [found for step in breaches for record in step for found in record]
    refused = job.answers["soft release"].json()
    assert ("rule-stands", True, True) == (
        refused["code"],
        "hardness" in refused["detail"],
        "rework" in refused["mend"],
    )


def test_the_ball_comes_back_with_verdict_and_label(job: Job) -> None:
    """A registration is answered with the verdict on each requirement, its margin, and the address of the label."""
    answer = job.answers["ball"].json()
    assert [(RULEBOOK, "conforms")] == [(judged["rulebook"], judged["outcome"]) for judged in answer["judged"]]
    drawn = [verdict for verdict in answer["judged"][0]["verdicts"] if verdict["outcome"] != "not_applicable"]
    assert {"conforms"} == {verdict["outcome"] for verdict in drawn}
    assert {"mass", "circumference", "hardness", "rg_low"} <= {verdict["quantity"] for verdict in drawn}
    assert all(verdict["margin"] for verdict in drawn)
    assert [f"{STEM}/01/{GTIN}/21/{job.serials[0]}"] == [label["link"] for label in answer["labels"]]
    soft = job.answers["soft"].json()["judged"][0]
    failing = [verdict["quantity"] for verdict in soft["verdicts"] if verdict["outcome"] == "does_not_conform"]
    assert ("does_not_conform", {"hardness"}) == (soft["outcome"], set(failing))


def test_every_receipt_checks(job: Job) -> None:
    """Each answer carries a receipt that proves its entry under the book's key, with no question to the service."""
    for answer in job.answers.values():
        if answer.status_code == 201:
            said = answer.json()
            raw = job.client.http.get(f"/entries/{said['entry']}/bytes").content
            check_receipt(said["receipt"], raw, [job.premises.verifier], ORIGIN)


@pytest.mark.parametrize("name", ["serials", "ball", "release"])
def test_a_retry_gives_the_same_entry(job: Job, name: str) -> None:
    """The same request again under its key is answered with the entry that stands, whatever was said meanwhile."""
    path, body = {
        "serials": ("/serials", {"station": "E1", "count": 3}),
        "ball": ("/balls", ball("U-1", job.serials[0])),
        "release": ("/releases", {"units": ["U-1", "U-2"], "grade": "first"}),
    }[name]
    first, again = job.answers[name].json(), job.client.post(path, body, key=f"{name}-1")
    assert (first["entry"], True) == (again.json().get("entry"), again.status_code in {200, 201})
    other = job.client.post("/serials", {"station": "E2", "count": 1}, key=f"{name}-1")
    assert (409, "key-reused") == (other.status_code, other.json()["code"])


def test_the_label_leads_to_the_public_page(job: Job) -> None:
    """The printed code decodes to the ball's address, and that address says what the number is, and nothing internal."""
    png = job.client.http.get("/balls/U-1/label.png")
    with Image.open(io.BytesIO(png.content)) as image:
        (code,) = zxingcpp.read_barcodes(image.convert("L"))
    path = code.text.removeprefix(STEM)
    anyone = httpx.Client(base_url=job.client.http.base_url)
    told = anyone.get(path, headers={"accept": "application/json"})
    page = anyone.get(path, headers={"accept": "text/html"})
    unknown = anyone.get(path[:-3] + "ZZZ", headers={"accept": "application/json"}).json()
    anyone.close()
    answer = told.json()["answer"]
    made = {"brand": "Plant", "model": "Model one", "weight_class_lb": 15, "made_on": on(10)[:10]}
    assert ("number issued by us", [made | {"status": "released by the maker"}]) == (
        answer["statement"],
        answer["balls"],
    )
    assert (True, False) == (job.serials[0] in page.text, unknown["answer"]["issued"])
    for inside in ("SL-1", "U-1", "G-HARD", "A shop", "E1"):
        assert inside not in told.text + page.text


def test_the_ball_is_looked_up_both_ways(job: Job) -> None:
    """From the serial back to the drum, and from the drum down to every ball, each link certain."""
    (found,) = job.client.get("/balls", serial=job.serials[0].lower())["balls"]
    assert ("U-1", "shipped") == (found["unit"], found["state"])
    above = {lot["lot"]: lot["certainty"] for lot in job.client.get("/lots/SL-1/above")["lots"]}
    below = job.client.get("/lots/MT-1/below")["balls"]
    assert dict.fromkeys(("CL-1", "BL-1", "BT-1", "MT-1"), "certain") == above
    assert dict.fromkeys(("U-1", "U-2", "U-3"), "certain") == {one["unit"]: one["certainty"] for one in below}
    whole = job.client.get("/balls/U-1")
    assert {job.serials[0]} == {number["serial"] for number in whole["numbers"]}


def test_conformity_is_told_for_a_lot(job: Job) -> None:
    """The balls of a lot are judged at once: two conform, the soft one does not."""
    overall = job.client.get("/conformity", rulebook=RULEBOOK, lot="SL-1")["tally"]["overall"]
    assert {"conforms": 2, "does_not_conform": 1} == {name: count for name, count in overall.items() if count}


def test_the_warranty_desk_gets_its_answer(job: Job) -> None:
    """A number that was issued is made by us, with what is known of it; an invented one is not known."""
    ours = job.client.get("/warranty", serial=job.serials[0])
    assert ("made by us", 1) == (ours["standing"], len(ours["balls"]))
    assert "unknown" == job.client.get("/warranty", serial="NOT-OURS-1")["standing"]


def test_the_dossier_stands_without_the_service(job: Job, tmp_path: Path) -> None:
    """A dossier is checked offline by the command, with the file and the key alone; a changed bit is found."""
    file = tmp_path / "dossier.zip"
    file.write_bytes(job.dossier)
    code, said = command("verify", "dossier", str(file), "--key", job.premises.verifier)
    assert 0 == code, said
    file.write_bytes(flip(job.dossier, 4 * len(job.dossier)))
    assert 1 == command("verify", "dossier", str(file), "--key", job.premises.verifier)[0]


@settings(max_examples=40)
@given(bit=st.integers(0, 2**24 - 1))
def test_any_changed_bit_of_a_dossier_is_found(job: Job, bit: int) -> None:
    """Of the file as it was served no bit changes unnoticed, in whatever part of it."""
    with pytest.raises(LedgerError):
        check_dossier(io.BytesIO(flip(job.dossier, bit)), [job.premises.verifier])


def test_a_hold_stops_and_a_correction_changes_the_story(job: Job) -> None:
    """Under a hold nothing is shipped; lifted, it is. A corrected reading is seen, and the ball that rests on it is held."""
    units = {"kind": "shipment", "at": on(13), "units": ["U-2"], "consignee": "A shop", "purpose": "sale"}
    hold = {"kind": "hold-placed", "at": on(12), "hold": "H-1", "reason": "suspect", "node": "lot:BL-1"}
    assert 201 == job.client.say(hold).status_code
    refused = job.client.say({**units, "shipment": "SH-2"})
    assert (422, True) == (refused.status_code, "H-1" in refused.text)
    assert 201 == job.client.say({"kind": "hold-lifted", "at": on(12), "hold": "H-1", "reason": "examined"}).status_code
    assert 201 == job.client.say({**units, "shipment": "SH-2"}).status_code

    place = job.answers["second"].json()["addresses"][1]
    body = ball("U-2", job.serials[1], hardness="74.5")
    again = {"kind": "inspection", "at": body["at"], "unit": "U-2", "station": "E1", "readings": body["readings"]}
    changes = [{"fact": place, "replacement": again | {"surface": "polished"}}]
    correction = job.client.say({"kind": "correction", "at": on(14), "reason": "mistyped", "changes": changes})
    codes = [breach["code"] for record in correction.json()["breaches"] for breach in record]
    assert (201, ["release-unfounded"]) == (correction.status_code, codes), correction.text
    seen: Any = {one["quantity"]: one["value"] for one in job.client.get("/balls/U-2")["readings"]}
    assert "74.5" == seen["hardness"].rstrip("0").ljust(4, "0")[:4]


def test_the_book_checks_in_the_end(job: Job) -> None:
    """With the service running, the whole book is checked by the command from outside."""
    code, said = command("verify", "book", "--store", job.premises.url, "--key", job.premises.verifier)
    assert 0 == code, said
