"""Erasures over HTTP: said as every record is, by those who may, and told where the entry is shown."""

from __future__ import annotations

import io
from typing import Any

from ledger.evidence.verifier import check_dossier
from tests.api.running import Service
from tests.plant import AT, VERIFIER, erasure

WORDS = "rang on Monday, and was angry"


def noted(service: Service, lot: str) -> int:
    """A drum with a note; the index of its entry."""
    drum = {"kind": "material-received", "at": AT, "lot": lot, "material": "Resin", "kg": "5", "supplier": "Acme"}
    answer = service.say("station", {**drum, "note": WORDS}, key=f"drum-{lot}")
    assert answer.status_code in {200, 201}, answer.text
    return int(answer.json()["entry"])


def entry(service: Service, index: int) -> dict[str, Any]:
    """An entry as an auditor sees it."""
    found: dict[str, Any] = service["auditor"].get(f"/entries/{index}").json()
    return found


def test_words_are_erased_by_those_who_may(service: Service) -> None:
    """Quality and the keeper erase, nobody else; the entry then names the fact that erased, and the book is whole."""
    index = noted(service, "DRUM-E1")
    assert WORDS == entry(service, index)["openings"]["0/note"]
    for role in ("station", "inspector", "desk", "auditor"):
        assert 403 == service.say(role, erasure(index, "0/note")).status_code
    said = service.say("quality", erasure(index, "0/note"))
    assert 201 == said.status_code, said.text
    shown = entry(service, index)
    assert ({"0/supplier": "Acme"}, {"0/note": said.json()["addresses"][0]}) == (shown["openings"], shown["erased"])
    assert WORDS not in service["auditor"].get(f"/entries/{index}").text
    assert service.book.check().entries > index
    assert noted(service, "DRUM-E1") == index


def test_a_refused_erasure_names_field_and_mend(service: Service) -> None:
    """A withheld field is a 422, one that is erased already a 409; both say where."""
    index = noted(service, "DRUM-E2")
    withheld = service.say("admin", erasure(index, "0/note", "0/supplier"))
    assert (422, "records[0].fields[1]", "rule-stands") == (
        withheld.status_code, withheld.json()["where"], withheld.json()["code"],
    )  # fmt: skip
    assert withheld.json()["mend"]
    assert 201 == service.say("admin", erasure(index, "0/note")).status_code
    again = service.say("admin", erasure(index, "0/note"))
    assert (409, "records[0].fields[0]") == (again.status_code, again.json()["where"])


def test_a_name_is_erased_and_the_account_goes_on(service: Service) -> None:
    """The keeper's list shows no name any more; the account's token still works."""
    opened = service["admin"].post("/accounts", json={"name": "A person of the line", "roles": ["quality"]}).json()
    said = {"kind": "name-erasure", "at": AT, "account": opened["account"], "basis": "request", "reason": "left-us"}
    assert 201 == service.say("admin", said).status_code
    listed = service["admin"].get("/accounts")
    assert "A person of the line" not in listed.text
    row = next(one for one in listed.json()["accounts"] if one["account"] == opened["account"])
    assert (None, True) == (row["name"], row["open"])
    with service.client(opened["token"]) as client:
        assert 200 == client.get("/balls/U-000001").status_code


def test_a_dossier_shows_the_erasure(service: Service) -> None:
    """The file that is handed over tells the field as erased, and holds the entry that erased it."""
    index = next(index for index in range(30) if "seen by a person" in entry(service, index)["openings"].values())
    asked = {"serials": ["P000001"], "withhold": []}
    before = check_dossier(io.BytesIO(service["auditor"].post("/dossiers", json=asked).content), [VERIFIER])
    assert 201 == service.say("quality", erasure(index, "0/note")).status_code
    after = check_dossier(io.BytesIO(service["auditor"].post("/dossiers", json=asked).content), [VERIFIER])
    assert (0, 1, before.counts.entries + 1) == (before.counts.erased, after.counts.erased, after.counts.entries)
