"""A book that is moved while it is served: reading goes on, and every write is refused with the same reason."""

from __future__ import annotations

from pathlib import Path

from ledger.store.copying import copy_book
from ledger.store.engine import open_store
from tests.api.running import running
from tests.plant import AT
from tests.stores import fresh_file


def test_a_moved_book_is_read_and_not_written(tmp_path: Path) -> None:
    """Balls are shown; an account, a file and a record are a 503 that says where the book is now."""
    with running(tmp_path, balls=1) as service:
        target = open_store(fresh_file(tmp_path))
        copy_book(service.book.store, target, move=True)
        target.close()
        refused = [
            service["admin"].post("/accounts", json={"name": "Another", "roles": ["desk"]}, headers=service.key()),
            service["quality"].post("/blobs", content=b"\x89PNG", headers={"content-type": "image/png"}),
            service.say("quality", {"kind": "unit-held", "unit": "U-000001", "at": AT, "reason": "mark"}),
        ]
        for answer in refused[:2]:
            assert (503, "store-error") == (answer.status_code, answer.json()["code"]), answer.text
            assert "moved to another" in answer.text
        assert 200 == service["quality"].get("/balls/U-000001").status_code
