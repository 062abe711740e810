"""A plant for tests of pages: four lots that split and come together, balls with readings, and roles with passwords."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.api.running import Service, engraved, running
from tests.api.test_registering import adopt
from tests.pages.forms_sent import Browser, give_password
from tests.plant import AT

MIXED = "SL-9"
"""A shell lot of two core lots: which one a ball of it has, the records do not tell."""


def second_line() -> list[dict[str, Any]]:
    """A second core lot, and a shell lot that is poured of both."""
    pour = {"model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1", "began_at": AT, "at": AT}
    draw: Any = [{"lot": "BT-1", "kg": "1"}]
    return [
        {**pour, "kind": "blocks-moulded", "lot": "BL-2", "count": 60, "batches": draw},
        {**pour, "kind": "cores-poured", "lot": "CL-2", "count": 60, "blocks": [{"lot": "BL-2", "count": 60}], "batches": draw},
        {**pour, "kind": "blocks-moulded", "lot": "BL-3", "count": 40, "batches": draw},
        {**pour, "kind": "cores-poured", "lot": "CL-3", "count": 40, "blocks": [{"lot": "BL-3", "count": 40}], "batches": draw},
        {
            **pour, "kind": "shells-poured", "lot": MIXED, "count": 50, "revision": 1, "weight_class": 15,
            "cores": [{"lot": "CL-2", "count": 30}, {"lot": "CL-3", "count": 20}],
            "colours": [{"colour": "Grey", "lot": "BT-1", "kg": "5"}],
        },
    ]  # fmt: skip


@contextmanager
def plant(folder: Path, *roles: str) -> Iterator[Service]:
    """A running service with these lots, three balls of ``SL-1``, one of ``SL-9``, and passwords for some roles."""
    with running(folder, balls=3, public_per_minute=60_000, public_burst=10_000) as service:
        for role in roles:
            give_password(service, role)
        adopt(service, "usbc-2026")
        for record in second_line():
            said = service.say("station", record)
            assert said.status_code == 201, said.text
        body = engraved(9, lot=MIXED, serial="P000009")
        assert service["station"].post("/balls", json=body, headers=service.key()).status_code == 201
        yield service


def signed_in(service: Service, role: str) -> Browser:
    """The browser of the person of a role."""
    browser = Browser(service)
    assert browser.sign_in(f"The {role}").status_code == 303
    return browser
