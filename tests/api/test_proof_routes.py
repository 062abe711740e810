"""Proofs over HTTP: whoever holds the key can check them without the service."""

from __future__ import annotations

import base64

from ledger.book.checkpoint import check_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.merkle import check_consistency, root
from ledger.book.receipt import check_receipt
from ledger.book.tiles import decode_entries_tile
from tests.api.running import Service
from tests.plant import AT, ORIGIN, VERIFIER


def test_every_entry_has_a_receipt(service: Service) -> None:
    """The receipt of each entry checks against its bytes."""
    size = service.nobody.get("/ready").json()["size"]
    for index in range(size):
        receipt = service.nobody.get(f"/receipts/{index}")
        entry = service["auditor"].get(f"/entries/{index}/bytes").content
        assert index == check_receipt(receipt.text, entry, [VERIFIER], ORIGIN).index


def test_a_later_checkpoint_extends_an_earlier_one(service: Service) -> None:
    """Two checkpoints and the consistency proof between them show that nothing was changed."""
    old = check_checkpoint(service.nobody.get("/checkpoint").content, [VERIFIER], ORIGIN)
    service.say("station", {"kind": "unit-worked", "at": AT, "unit": "U-000001", "step": "turned", "station": "E1"})
    new = check_checkpoint(service.nobody.get("/checkpoint").content, [VERIFIER], ORIGIN)
    asked = {"old": old.tree_size, "new": new.tree_size}
    proof = [base64.b64decode(one) for one in service.nobody.get("/consistency", params=asked).json()["proof"]]

    assert old.tree_size + 1 == new.tree_size
    check_consistency(old.tree_size, old.root_hash, new.tree_size, new.root_hash, proof)


def test_tiles_give_the_root(service: Service) -> None:
    """The hash tile and the entries tile hold the same leaves, and they give the checkpoint's root."""
    checkpoint = check_checkpoint(service.nobody.get("/checkpoint").content, [VERIFIER], ORIGIN)
    width = checkpoint.tree_size
    hashes = service.nobody.get(f"/tile/0/000.p/{width}")
    entries = decode_entries_tile(service["auditor"].get(f"/tile/entries/000.p/{width}").content)
    leaves = [hashes.content[start : start + 32] for start in range(0, 32 * width, 32)]

    assert [entry_hash(entry) for entry in entries] == leaves
    assert checkpoint.root_hash == root(leaves)
    assert "immutable" in hashes.headers["cache-control"]


def test_entries_show_their_openings_to_those_who_may(service: Service) -> None:
    """Sealed fields come with their openings to an auditor, and not to a station."""
    index = next(
        index
        for index in range(20)
        if b"material-received" in service["auditor"].get(f"/entries/{index}/bytes").content
    )
    entry = service["auditor"].get(f"/entries/{index}").json()

    assert "A supplier" in entry["openings"].values()
    assert "A supplier" not in str(entry["entry"])
    assert 403 == service["station"].get(f"/entries/{index}").status_code


def test_proofs_may_be_read_by_pages_of_other_hosts(service: Service) -> None:
    """A verifier in a browser may read public proofs, and nothing else."""
    assert "*" == service.nobody.get("/checkpoint").headers["access-control-allow-origin"]
    assert "access-control-allow-origin" not in service["auditor"].get("/entries/0").headers
