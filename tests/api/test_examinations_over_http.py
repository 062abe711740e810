"""The auditor's way in: exactly the granted part, for its time, and each answer an entry before it is sent."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.application.histories import instant_text
from ledger.book.signing import format_verifier
from ledger.evidence.verifier import check_dossier
from tests.api.running import SIGNERS, Service, engraved, running
from tests.api.test_registering import adopt
from tests.pages.plant_pages import MIXED, second_line

PART = "/examinations/X-1"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Three balls of SL-1 and one of another lot; the part is SL-1."""
    with running(tmp_path_factory.mktemp("examined"), balls=3) as one:
        adopt(one, "usbc-2026")
        for record in second_line():
            one.say("station", record).raise_for_status()
        one["station"].post(
            "/balls", json=engraved(9, lot=MIXED, serial="P000009"), headers=one.key()
        ).raise_for_status()
        grant(one, "X-1", lots=["SL-1"])
        yield one


def grant(service: Service, examination: str, **part: Any) -> httpx.Response:
    """A grant to the auditor from outside, around the service's clock."""
    account = service.book.account_of(service.tokens["examiner"]).account
    now = instants(service)
    return service.say(
        "quality",
        {
            "kind": "examination-granted", "at": now[1], "examination": examination, "account": account,
            "from_at": now[0], "to_at": now[2], **part,
        },
    )  # fmt: skip


def instants(service: Service) -> tuple[str, str, str]:
    """A minute ago, now, and in an hour, by the service's clock."""
    now_ms = service.book.clock_ms()
    return instant_text(now_ms - 60_000), instant_text(now_ms), instant_text(now_ms + 3_600_000)


def looks(service: Service) -> list[dict[str, Any]]:
    """Every look that was entered, as the plant sees it."""
    found: list[dict[str, Any]] = service["quality"].get(PART).json()["looks"]
    return found


def test_auditor_sees_own_grants_and_the_balls_of_the_part(service: Service) -> None:
    """The list holds the part's balls and no other, and is entered with its digest."""
    own = service["examiner"].get("/examinations/own").json()["examinations"]
    assert {"X-1": 3}.items() <= {one["examination"]: one["balls"] for one in own}.items()
    answer = service["examiner"].get(f"{PART}/balls")
    assert [ball["unit"] for ball in answer.json()["balls"]] == ["U-000001", "U-000002", "U-000003"]
    assert looks(service)[-1]["question"] == "balls"
    assert looks(service)[-1]["answer"] == hashlib.sha256(answer.content).hexdigest()


def test_one_ball_is_shown_without_claims_and_entered(service: Service) -> None:
    """Everything about the ball but the claims of other people."""
    ball = service["examiner"].get(f"{PART}/balls/U-000002").json()
    assert ball["serial"] == "P000002"
    assert "claims" not in ball
    last = looks(service)[-1]
    assert (last["question"], last["named"], last["balls"]) == ("ball", ["U-000002"], 1)


@pytest.mark.parametrize(("examination", "withhold"), [("X-R-1", ["withheld"]), ("X-R-2", [])])
def test_amounts_of_a_recipe_are_told_only_where_the_grant_opens_them(
    service: Service, examination: str, withhold: list[str]
) -> None:
    """Grams of materials and mixes are what the entries seal; pieces of blocks and cores are not."""
    grant(service, examination, lots=["SL-1"], withhold=withhold).raise_for_status()
    materials = service["examiner"].get(f"/examinations/{examination}/balls/U-000002").json()["materials"]
    told = {lot["stage"] for lot in materials if "drawn" in lot}
    assert told == {"block", "core"} | (set() if withhold else {"material", "batch"})


def test_ball_outside_the_part_is_not_shown_and_nothing_is_entered(service: Service) -> None:
    """It answers as an unknown ball does."""
    before = len(looks(service))
    answer = service["examiner"].get(f"{PART}/balls/U-000009")
    assert answer.status_code == 404
    assert "not in the part" in answer.json()["detail"]
    assert len(looks(service)) == before


def test_a_lot_that_the_grant_names_is_shown_and_entered(service: Service) -> None:
    """What it is, its account, and what it was made from; neither amounts of a recipe nor the facts one by one."""
    answer = service["examiner"].get(f"{PART}/lots/SL-1")
    found = answer.json()
    assert ("SL-1", "shell", "pieces") == (
        found["lot"]["lot"], found["lot"]["stage"], found["lot"]["account"]["unit"],
    )  # fmt: skip
    assert {"material", "batch", "block", "core"} == {one["stage"] for one in found["made_from"]}
    assert "history" not in found["lot"]
    assert "drawn" not in answer.text
    last = looks(service)[-1]
    assert ("lot", ["SL-1"], 0) == (last["question"], last["named"], last["balls"])
    assert hashlib.sha256(answer.content).hexdigest() == last["answer"]


def test_a_lot_outside_the_part_is_not_shown_and_nothing_is_entered(service: Service) -> None:
    """Another lot, one above those that are named, and one that is none."""
    before = len(looks(service))
    answers = [service["examiner"].get(f"{PART}/lots/{lot}") for lot in (MIXED, "CL-1", "NONE")]
    assert [404] * 3 == [answer.status_code for answer in answers]
    assert len(looks(service)) == before


@pytest.mark.parametrize(
    "narrowed",
    [
        {"units": ["U-000001"]},
        {"made_from": "2026-01-01T00:00:00.000+00:00"},
        {"made_to": "2036-01-01T00:00:00.000+00:00"},
    ],
    ids=["balls", "from a day", "to a day"],
)
def test_a_grant_of_some_balls_of_a_lot_does_not_open_the_lot(service: Service, narrowed: dict[str, Any]) -> None:
    """Its figures are about balls that were not granted; nor does a grant of a model open the lots of it."""
    name = "X-" + "-".join(narrowed).upper().replace("_", "-")
    grant(service, name, lots=["SL-1"], **narrowed).raise_for_status()
    assert 404 == service["examiner"].get(f"/examinations/{name}/lots/SL-1").status_code
    assert 200 == service["examiner"].get(f"/examinations/{name}/balls").status_code
    grant(service, f"{name}-M", models=["M1"], **narrowed).raise_for_status()
    assert 404 == service["examiner"].get(f"/examinations/{name}-M/lots/SL-1").status_code


def test_verdicts_of_the_part_are_counted(service: Service) -> None:
    """Each ball of the part is judged by the edition asked for."""
    found = service["examiner"].get(f"{PART}/conformity", params={"rulebook": "usbc-2026"}).json()
    assert len(found["balls"]) == 3
    assert sum(found["outcomes"].values()) == 3
    assert "approv" in found["caution"]


def test_dossier_is_exactly_the_part_and_is_entered_before_it_is_sent(service: Service) -> None:
    """It checks with the book's key, holds the three balls, and leaves closed what the grant withholds."""
    answer = service["examiner"].post(f"{PART}/dossier")
    assert answer.status_code == 200
    report = check_dossier(io.BytesIO(answer.content), [format_verifier(SIGNERS.checkpoint.verifier)])
    assert (report.counts.balls, report.counts.opened) == (3, 0)
    assert looks(service)[-1]["question"] == "dossier"


@pytest.mark.parametrize(
    "path", ["/balls/U-000001", "/lots/SL-1", "/entries/3", "/claims", "/blobs/" + "0" * 64, "/examinations", PART]
)
def test_auditor_from_outside_has_no_other_way_in(service: Service, path: str) -> None:
    """What the plant's own people read is closed, the plant's view of the examination too."""
    assert service["examiner"].get(path).status_code == 403


def test_auditor_says_nothing(service: Service) -> None:
    """Not even a look, which the service alone enters."""
    said = {"kind": "examined", "at": instants(service)[1], "examination": "X-1", "question": "ball", "balls": 0}
    assert service.say("examiner", said).status_code == 403
    assert service.say("quality", said).status_code == 403


def test_another_accounts_grant_shows_nothing(service: Service) -> None:
    """Two auditors do not see each other's parts."""
    _, token = service.book.open_account("Another auditor", ("examiner",))
    with service.client(token) as other:
        answer = other.get(f"{PART}/balls")
    assert answer.status_code == 422
    assert "another account's" in answer.json()["detail"]


def test_part_is_narrowed_by_every_condition(service: Service) -> None:
    """Lots and days together: a ball must meet both."""
    grant(service, "X-2", lots=["SL-1", MIXED], units=["U-000001", "U-000009"]).raise_for_status()
    found = service["examiner"].get("/examinations/X-2/balls").json()["balls"]
    assert [ball["unit"] for ball in found] == ["U-000001", "U-000009"]
    grant(service, "X-3", models=["M1"], made_to="2020-01-01T00:00:00.000+00:00").raise_for_status()
    assert service["examiner"].get("/examinations/X-3/balls").json()["balls"] == []
    assert service["examiner"].post("/examinations/X-3/dossier").status_code == 404


def test_ended_grant_shows_nothing_at_the_next_look(service: Service) -> None:
    """After the plant ends a grant, the next look is refused."""
    grant(service, "X-4", lots=["SL-1"]).raise_for_status()
    assert service["examiner"].get("/examinations/X-4/balls").status_code == 200
    said = {"kind": "examination-ended", "at": instants(service)[1], "examination": "X-4", "reason": "done"}
    service.say("quality", said).raise_for_status()
    answer = service["examiner"].get("/examinations/X-4/balls")
    assert (answer.status_code, "was ended" in answer.json()["detail"]) == (422, True)


def test_rebuilt_views_hold_the_same_grants(tmp_path: Path) -> None:
    """Grants and looks follow from the entries alone."""
    with running(tmp_path, balls=1) as service:
        grant(service, "X-1", lots=["SL-1"]).raise_for_status()
        service["examiner"].get(f"{PART}/balls").raise_for_status()
        before = service["quality"].get(PART).json()
        service.book.rebuild()
        assert service["quality"].get(PART).json() == before
