"""Questions over HTTP: balls by number, lots up and down, conformity, warranty, the public page."""

from __future__ import annotations

import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import CAUTION
from tests.api.running import GTIN, Service
from tests.plant import ORIGIN


def test_a_ball_is_found_by_its_number(service: Service) -> None:
    """A number gives every ball that bears it; an unknown one gives none."""
    found = service["desk"].get("/balls", params={"serial": "P000001"}).json()["balls"]

    assert [("U-000001", "P000001", True)] == [(ball["unit"], ball["serial"], ball["bears_it_now"]) for ball in found]
    assert {"balls": []} == service["desk"].get("/balls", params={"serial": "P404404"}).json()


def test_a_ball_shows_everything(service: Service) -> None:
    """A ball's page goes back to the drum, with readings, history and the caution."""
    ball = service["desk"].get("/balls/U-000001").json()

    assert (CAUTION, "M1", 15) == (ball["caution"], ball["model"], ball["weight_class_lb"])
    assert {"MT-1", "BT-1", "BL-1", "CL-1"} <= {lot["lot"] for lot in ball["materials"]}
    assert ["15.05"] == [reading["value"] for reading in ball["readings"]]
    assert {"ball-engraved", "inspection"} == {fact["kind"] for fact in ball["history"]}


def test_a_lot_is_walked_both_ways(service: Service) -> None:
    """A shell lot leads up to the drum, and the drum down to every ball, each with its certainty."""
    above = service["quality"].get("/lots/SL-1/above").json()
    below = service["quality"].get("/lots/MT-1/below").json()

    assert "MT-1" in {lot["lot"] for lot in above["lots"]}
    assert {"U-000001", "U-000002", "U-000003"} <= {ball["unit"] for ball in below["balls"]}
    assert {"certain"} == {ball["certainty"] for ball in below["balls"]}


def test_a_lot_shows_its_account(service: Service) -> None:
    """A lot's page says what was made, used and left."""
    account = service["station"].get("/lots/SL-1").json()["account"]

    assert account["left"] == account["made"] - account["used"]


def test_holds_are_listed_while_open(service: Service) -> None:
    """A hold is listed from when it is placed until it is lifted."""
    at = "2026-03-02T08:00:00.000+00:00"
    service.say("inspector", {"kind": "hold-placed", "at": at, "hold": "H-7", "reason": "smell", "node": "lot:SL-1"})
    placed = service["desk"].get("/holds").json()["holds"]
    service.say("quality", {"kind": "hold-lifted", "at": at, "hold": "H-7", "reason": "aired"})

    assert [("H-7", "lot:SL-1", "smell")] == [(hold["hold"], hold["node"], hold["reason"]) for hold in placed]
    assert [] == service["desk"].get("/holds").json()["holds"]


def test_registers_list_gauges_models_and_claims(service: Service) -> None:
    """Each gauge with its standing now, each model with its plan, each claim with its facts."""
    at = "2026-03-02T08:00:00.000+00:00"
    service.say("desk", {"kind": "claim-opened", "at": at, "claim": "C-77", "mode": "void", "serial": "NOBODY"})
    gauges = {one["gauge"]: one["quantity"] for one in service["inspector"].get("/gauges").json()["gauges"]}
    models = {one["model"]: one["gtin"] for one in service["station"].get("/models").json()["models"]}
    claims = [one for one in service["desk"].get("/claims").json()["claims"] if one["claim"] == "C-77"]

    assert "mass" == gauges["G1"]
    assert "09521234543213" == models["M1"]
    assert [("void", "open", 1)] == [(one["mode"], one["state"], len(one["facts"])) for one in claims]
    assert 403 == service["station"].get("/claims").status_code


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_conformity_of_a_selection(service: Service, method: str) -> None:
    """A selection is judged by the rulebook named, as a query or as a body, and pages with the last unit."""
    asked = {"rulebook": "ibf", "lot": "SL-1", "from_on": "2026-03-02", "to_on": "2026-03-02", "listed": 2}
    sent = {"params": asked} if method == "GET" else {"json": asked}
    answer = service["auditor"].request(method, "/conformity", **sent)  # type: ignore[arg-type]  # one or the other
    judged = answer.json()

    assert (200, CAUTION, True) == (answer.status_code, judged["caution"], judged["more"])
    assert ["U-000001", "U-000002"] == [ball["unit"] for ball in judged["balls"]]
    assert judged["tally"]["balls"] >= 3


def test_conformity_outside_its_days_is_empty(service: Service) -> None:
    """Both days of a selection are inclusive, and the day after has no ball."""
    asked = {"rulebook": "ibf", "from_on": "2026-03-03"}
    none = service["quality"].get("/conformity", params=asked).json()

    assert 0 == none["tally"]["balls"]


def test_rulebooks_say_where_each_limit_comes_from(service: Service) -> None:
    """Every rulebook that ships is shown with its digest, and every limit with its provenance."""
    shown = service["station"].get("/rulebooks").json()

    assert {name: one.digest for name, one in shipped_rulebooks().items()} == {
        one["id"]: one["digest"] for one in shown["rulebooks"]
    }
    assert {"read", "second-hand", "memory"} >= {
        limit["provenance"] for one in shown["rulebooks"] for limit in one["requirements"]
    }
    assert CAUTION == shown["caution"]


def test_a_warranty_question_is_answered_with_reasons(service: Service) -> None:
    """The desk learns that the ball is ours and in term, and that a person decides."""
    asked = {"serial": "P000001", "bought_on": "2026-04-01", "on": "2026-05-01"}
    answer = service["desk"].get("/warranty", params=asked).json()

    assert ("made by us", "in term") == (answer["standing"], answer["balls"][0]["term"]["outcome"])
    assert "person decides" in answer["caution"]


def test_the_public_page_says_issued_and_never_more(service: Service) -> None:
    """Anyone who scans a label learns model, class, day and status; never genuine, and nothing internal."""
    page = service.nobody.get(f"/01/{GTIN}/21/P000001", headers={"accept": "text/html,*/*;q=0.8"})
    answer = service.nobody.get(f"/01/{GTIN}/21/P000001")

    assert "text/html; charset=utf-8" == page.headers["content-type"]
    assert "number issued by us" == answer.json()["answer"]["statement"]
    for text in (page.text, answer.text):
        assert all(shown in text for shown in ("number issued by us", "Model one", "15", "2026-03-02", "in production"))
        assert not [word for word in ("genuine", "authentic", "SL-1", "U-000001", "E1", "15.05", "G1") if word in text]


@pytest.mark.parametrize("path", [f"/01/{GTIN}/21/P404404", "/01/09521234543220/21/P000001"])
def test_an_unknown_number_and_another_product_get_the_same_words(service: Service, path: str) -> None:
    """Nobody can tell a number that was never issued from one of another product."""
    answer = service.nobody.get(path)

    assert (200, False) == (answer.status_code, answer.json()["answer"]["issued"])
    assert "unknown number: not issued by us under this product" == answer.json()["answer"]["statement"]


def test_markup_in_a_number_stays_text(service: Service) -> None:
    """A number that holds markup comes back escaped; one outside the label's characters is refused."""
    page = service.nobody.get(f"/01/{GTIN}/21/%3Cb%3Ehi%22", headers={"accept": "text/html"})
    refused = service.nobody.get(f"/01/{GTIN}/21/%3Cb%3E%C3%BC", headers={"accept": "text/html"})

    assert (200, True, False) == (page.status_code, "&lt;b&gt;hi&#34;" in page.text, "<b>" in page.text)
    assert (400, True, False) == (refused.status_code, "malformed-link" in refused.text, "<b>" in refused.text)


@pytest.mark.parametrize(
    "rest", ["0952/21/A", f"{GTIN}", f"{GTIN}/21", f"{GTIN}/99/A", "x/21/A", "09521234543214/21/A"]
)
def test_an_address_that_is_no_label_is_a_400(service: Service, rest: str) -> None:
    """A GTIN of another length, a wrong check digit or a missing serial is malformed."""
    assert 400 == service.nobody.get(f"/01/{rest}").status_code


@pytest.mark.parametrize(
    ("path", "accept", "expected"),
    [
        (f"/01/{GTIN}/10/SL-1", "application/json", (307, "/lots/SL-1")),
        (f"/01/{GTIN}/10/SL-1", "text/html", (307, "/lot/SL-1")),
        ("/lot/SL-1", "text/html", (303, "/sign-in?next=%2Flot%2FSL-1")),
    ],
)
def test_a_travellers_code_leads_to_the_lot(
    service: Service, path: str, accept: str, expected: tuple[int, str]
) -> None:
    """The code on a traveller leads to the lot: a person to its page, a program to its JSON; both need an account."""
    answer = service.nobody.get(path, headers={"accept": accept})

    assert expected == (answer.status_code, answer.headers["location"])
    assert 401 == service.nobody.get("/lots/SL-1").status_code


def test_health_needs_no_account(service: Service) -> None:
    """Liveness and readiness are open, and readiness tells the book and its size."""
    ready = service.nobody.get("/ready").json()

    assert {"live": True} == service.nobody.get("/live").json()
    assert (True, ORIGIN, service["quality"].get("/standing").json()["entries"]) == (
        ready["ready"],
        ready["origin"],
        ready["size"],
    )
