"""What is kept of people in a claim, as the desk reads it over HTTP."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.api.running import running

AT = "2026-03-10T08:00:00.000+00:00"
PEOPLE = {"claimant": "Invented Person", "contact": "invented.person@mail.example", "note": "rang twice"}


def test_the_desk_reads_people_until_they_are_erased(tmp_path: Path) -> None:
    """Each field with its path; no other role but quality; once erased it is gone, and what was not erased stays."""
    with running(tmp_path, balls=1) as service:
        claim = {"kind": "claim-opened", "at": AT, "claim": "C-1", "mode": "void", "unit": "U-000001", **PEOPLE}
        entry = service.say("desk", claim).json()["entry"]
        seen = service["desk"].get("/claims/C-1/people").json()
        assert PEOPLE == {one["field"]: one["said"] for one in seen["fields"]}
        assert {(entry, f"0/{name}") for name in PEOPLE} == {(one["entry"], one["path"]) for one in seen["fields"]}
        for role in ("station", "inspector", "auditor", "admin"):
            assert 403 == service[role].get("/claims/C-1/people").status_code
        assert 404 == service["desk"].get("/claims/C-NONE/people").status_code
        erased: dict[str, Any] = {"kind": "erasure", "at": AT, "entry": entry, "fields": ["0/claimant", "0/contact"]}
        said = service.say("quality", {**erased, "basis": "request", "reason": "asked"})
        assert 201 == said.status_code, said.text
        left = service["desk"].get("/claims/C-1/people").json()["fields"]
        assert [("note", "rang twice")] == [(one["field"], one["said"]) for one in left]
