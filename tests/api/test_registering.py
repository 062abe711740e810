"""Saying records over HTTP: registrations, retries, asking first, serials, releases."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx

from ledger.book.receipt import check_receipt
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import CAUTION
from tests.api.running import GTIN, STEM, Service, engraved, running, said_by
from tests.plant import AT, ORIGIN, VERIFIER, registration


def entry_bytes(service: Service, index: int) -> bytes:
    """The bytes of an entry, as the auditor gets them."""
    return service["auditor"].get(f"/entries/{index}/bytes").content


def adopt(service: Service, name: str) -> None:
    """Let model M1 be judged by a rulebook."""
    digest = shipped_rulebooks()[name].digest
    adopted = {"kind": "rulebook-adopted", "at": AT, "rulebook": name, "digest": digest}
    plan = {"kind": "plan-set", "at": AT, "model": "M1", "windows": [], "inspect": [], "rulebooks": [name]}
    assert 201 == service.say("quality", adopted, plan).status_code


def test_registering_gives_a_receipt_that_checks(service: Service) -> None:
    """The receipt of a registration proves, with the book's key alone, that its entry stands in the book."""
    answer = service["station"].post("/balls", json=engraved(101), headers=service.key())
    recorded = answer.json()
    receipt = check_receipt(recorded["receipt"], entry_bytes(service, recorded["entry"]), [VERIFIER], ORIGIN)

    assert (201, recorded["entry"]) == (answer.status_code, receipt.index)
    assert [f"{receipt.index}.0", f"{receipt.index}.1"] == recorded["addresses"]


def test_registering_gives_the_label_address(service: Service) -> None:
    """The engraving station learns what the label's code says, and where the label is."""
    recorded = service["station"].post("/balls", json=engraved(102), headers=service.key()).json()

    assert [
        {
            "unit": "U-000102",
            "serial": "P000102",
            "link": f"{STEM}/01/{GTIN}/21/P000102",
            "label": "/balls/U-000102/label.svg",
        }
    ] == recorded["labels"]
    assert 200 == service["station"].get(recorded["labels"][0]["label"]).status_code


def test_registering_gives_verdicts_with_their_caution(tmp_path: Path) -> None:
    """With a rulebook adopted, a registration answers each requirement, with the caution; unless it is told not to."""
    with running(tmp_path) as service:
        adopt(service, "ibf")
        judged = service["station"].post("/balls", json=engraved(1), headers=service.key()).json()
        plain = service["station"].post("/balls", json=engraved(2, verdicts=False), headers=service.key()).json()

    assert (CAUTION, "ibf") == (judged["caution"], judged["judged"][0]["rulebook"])
    assert {"conforms"} == {
        verdict["outcome"] for verdict in judged["judged"][0]["verdicts"] if verdict["quantity"] == "mass"
    }
    assert "judged" not in plain


def test_breaches_come_with_the_registration(service: Service) -> None:
    """A reading with a gauge that nobody calibrated is entered, and the answer says what is wrong with it."""
    gauge = {
        "kind": "gauge-registered", "at": AT, "gauge": "G9", "quantity": "mass", "unit": "lb", "resolution": "0.01",
    }  # fmt: skip
    service.say("quality", gauge)
    readings = [{"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G9"}]
    answer = service["station"].post("/balls", json=engraved(103, readings=readings), headers=service.key())

    assert 201 == answer.status_code
    assert [[], ["gauge-unfit"]] == [[breach["code"] for breach in found] for found in answer.json()["breaches"]]


def test_the_same_key_gives_the_same_entry(service: Service) -> None:
    """A retry with its key enters nothing and gives the first answer, marked as repeated."""
    key = service.key()
    first = service["station"].post("/balls", json=engraved(104), headers=key)
    again = service["station"].post("/balls", json=engraved(104), headers=key)

    assert (201, 200) == (first.status_code, again.status_code)
    assert (first.json()["entry"], True) == (again.json()["entry"], again.json()["repeated"])
    check_receipt(again.json()["receipt"], entry_bytes(service, again.json()["entry"]), [VERIFIER])


def test_a_key_is_for_one_request(service: Service) -> None:
    """The same key with other records is a conflict, and enters nothing."""
    key = service.key()
    service["station"].post("/balls", json=engraved(105), headers=key)
    answer = service["station"].post("/balls", json=engraved(106), headers=key)

    assert (409, "key-reused") == (answer.status_code, answer.json()["code"])
    assert {"balls": []} == service["desk"].get("/balls", params={"serial": "P000106"}).json()


def test_the_same_key_of_another_account_is_another_request(service: Service) -> None:
    """Keys belong to their account: the same key of two accounts makes two entries."""
    key = service.key()
    first = service["station"].post("/balls", json=engraved(107), headers=key).json()
    second = service["quality"].post("/balls", json=engraved(108), headers=key).json()

    assert first["entry"] != second["entry"]


def test_quotes_around_a_key_mean_nothing(service: Service) -> None:
    """A key is the same with quotes and without."""
    first = service["station"].post("/balls", json=engraved(109), headers={"idempotency-key": "quoted-1"}).json()
    again = service["station"].post("/balls", json=engraved(109), headers={"idempotency-key": '"quoted-1"'}).json()

    assert (first["entry"], True) == (again["entry"], again["repeated"])


def test_forty_at_once_all_stand(tmp_path: Path) -> None:
    """Forty registrations at once: forty entries with forty indexes, and every receipt checks."""
    with running(tmp_path) as service:

        def register(number: int) -> httpx.Response:
            return service["station"].post("/balls", json=engraved(number, verdicts=False), headers=service.key())

        with ThreadPoolExecutor(40) as pool:
            answers = list(pool.map(register, range(1, 41)))
        entries = [answer.json()["entry"] for answer in answers]
        for answer in answers:
            check_receipt(answer.json()["receipt"], entry_bytes(service, answer.json()["entry"]), [VERIFIER])
        report = service.book.check()

    assert [201] * 40 == [answer.status_code for answer in answers]
    assert 40 == len(set(entries))
    assert max(entries) + 1 == report.entries


def test_two_stations_with_one_serial(service: Service) -> None:
    """Of many who engrave one allotted serial at once, one ball gets it and the others learn which."""
    serial = service["station"].post("/serials", json={"station": "E1", "count": 1}, headers=service.key()).json()

    def register(number: int) -> httpx.Response:
        body = engraved(number, serial=serial["serials"][0], scheme="own")
        return service["station"].post("/balls", json=body, headers=service.key())

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(register, range(201, 209)))
    refused = [answer.json() for answer in answers if answer.status_code != 201]

    assert [201] + [409] * 7 == sorted(answer.status_code for answer in answers)
    assert {("contradiction", "records[0].serial")} == {(one["code"], one["where"]) for one in refused}


def test_serials_are_allotted_once(service: Service) -> None:
    """A key gives its serials again; another key gives others; asking for none or too many is refused."""
    station, wanted = service["station"], {"station": "E1", "count": 5}
    key = service.key()
    first = station.post("/serials", json=wanted, headers=key).json()
    again = station.post("/serials", json=wanted, headers=key).json()
    others = station.post("/serials", json=wanted, headers=service.key()).json()
    outside = [
        station.post("/serials", json={"station": "E1", "count": count}, headers=service.key()) for count in (0, 1001)
    ]

    assert (first["serials"], 5) == (again["serials"], len(set(first["serials"])))
    assert set() == set(first["serials"]) & set(others["serials"])
    assert [(400, "count")] * 2 == [(answer.status_code, answer.json()["where"]) for answer in outside]


def test_asking_enters_nothing(service: Service) -> None:
    """Asking says what stands in the way and what would mend it, and the book is as before."""
    before = service["quality"].get("/standing").json()["entries"]
    started = {"kind": "unit-started", "at": AT, "unit": "U-500", "station": "E1"}
    asked = {"records": [{**started, "lot": "SL-1"}, {**started, "lot": "SL-404", "unit": "U-501"}]}
    answers = service["station"].post("/ask", json=asked).json()["answers"]

    assert [True, False] == [answer["may"] for answer in answers]
    assert ("unknown-subject", True) == (answers[1]["reasons"][0]["code"], bool(answers[1]["reasons"][0]["mend"]))
    assert before == service["quality"].get("/standing").json()["entries"]


def test_what_is_said_together_stands_together(service: Service) -> None:
    """When one record of several is refused, none is entered."""
    before = service["quality"].get("/standing").json()["entries"]
    good, bad = said_by(registration(301)), said_by(registration(302, lot="SL-404"))
    answer = service.say("station", *good, *bad)

    assert (422, "unknown-subject") == (answer.status_code, answer.json()["code"])
    assert answer.json()["where"].startswith("records[2]")
    assert before == service["quality"].get("/standing").json()["entries"]


def test_a_release_that_a_limit_forbids_names_it(tmp_path: Path) -> None:
    """A ball outside a limit is not released as first quality; the refusal names limit and value, and enters nothing."""
    with running(tmp_path) as service:
        adopt(service, "ibf")
        heavy = [{"quantity": "mass", "unit": "lb", "values": ["16.50"], "gauge": "G1"}]
        service["station"].post("/balls", json=engraved(1, readings=heavy), headers=service.key())
        wanted = {"units": ["U-000001"], "grade": "first"}
        answer = service["quality"].post("/releases", json=wanted, headers=service.key())
        ball = service["quality"].get("/balls/U-000001").json()

    problem = answer.json()
    assert (422, "rule-stands", "units[0]") == (answer.status_code, problem["code"], problem["where"])
    assert "7.26" in problem["detail"]  # kilograms: 16 lb, as the rulebook prints it
    assert "release" not in ball


def test_a_release_stands_and_shows(tmp_path: Path) -> None:
    """A ball with a plan is released as a prototype, by an entry with a receipt, and its page says so."""
    with running(tmp_path, balls=1) as service:
        plan = {"kind": "plan-set", "at": AT, "model": "M1", "windows": [], "inspect": [], "rulebooks": []}
        service.say("quality", plan)
        wanted = {"units": ["U-000001"], "grade": "prototype"}
        service.say(
            "station", {"kind": "unit-worked", "at": AT, "unit": "U-000001", "step": "cg-marked", "station": "E1"}
        )
        key = service.key()
        released = service["quality"].post("/releases", json=wanted, headers=key)
        ball = service["desk"].get("/balls/U-000001").json()
        public = service.nobody.get(f"/01/{GTIN}/21/P000001").json()["answer"]["balls"][0]

    assert 201 == released.status_code, released.text
    assert ("prototype", released.json()["addresses"][0]) == (ball["grade"], ball["release"])
    assert ("released by the maker", "prototype") == (public["status"], public["grade"])


def test_registrations_are_measured(service: Service) -> None:
    """Every registration is in the histogram that the keeper reads."""
    before = service["admin"].get("/metrics").text
    service["station"].post("/balls", json=engraved(110), headers=service.key())
    service.say("station", *said_by(registration(111)))
    after = service["admin"].get("/metrics").text

    def count(text: str) -> int:
        return int(text.strip().rsplit(" ", 1)[1])

    assert count(before) + 2 == count(after)


def test_the_book_and_its_troubles_are_measured(service: Service) -> None:
    """The end of the book, entries, refusals and problems are figures that the keeper reads."""

    def figure(name: str) -> float:
        lines = service["admin"].get("/metrics").text.splitlines()
        return sum(float(line.rsplit(" ", 1)[1]) for line in lines if line.rsplit(" ", 1)[0] == name)

    code = 'pourbook_problems_total{code="not-found"}'
    before = figure("pourbook_entries"), figure("pourbook_entries_entered_total"), figure(code)
    service.say("station", *said_by(registration(112)))
    assert 404 == service["quality"].get("/balls/NONE-1").status_code
    after = figure("pourbook_entries"), figure("pourbook_entries_entered_total"), figure(code)
    assert [1, 1, 1] == [now - then for now, then in zip(after, before, strict=True)]
    assert 0 <= figure("pourbook_head_age_seconds") < 3600
    assert figure("pourbook_entries") == figure("pourbook_backup_missing_entries")
    assert "pourbook_archived_entries 0" in service["admin"].get("/metrics").text.splitlines()
