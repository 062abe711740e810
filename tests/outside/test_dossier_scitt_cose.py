"""The proofs of a dossier, checked by a library that knows nothing of this project, from the dossier's files alone.

Independent library: scitt-cose 0.5, module merkle, Apache-2.0. Text forms are read here by their specifications: C2SP
tlog-proof and tlog-checkpoint at 5ba5ee8.
"""

from __future__ import annotations

import base64
import hashlib
import json

import pytest
from scitt_cose import merkle as scitt  # type: ignore[import-untyped]  # it ships no types

from tests.evidence.small_dossier import members
from tests.evidence.whole_dossier import whole_dossier

FILES = members(whole_dossier())
INDEXES = sorted(int(name[8:-5]) for name in FILES if name.startswith("entries/"))


def head() -> tuple[int, str]:
    """Size and root (hex) that the checkpoint states: its second and third lines."""
    _, size, root, *_ = FILES["checkpoint"].decode().split("\n")
    return int(size), base64.b64decode(root).hex()


def path(index: int) -> list[str]:
    """The hashes of a receipt, in hex: the lines between its index and the blank one."""
    lines, _, _ = FILES[f"receipts/{index}.tlog-proof"].decode().partition("\n\n")
    return [base64.b64decode(line).hex() for line in lines.split("\n")[2:]]


@pytest.mark.parametrize("index", INDEXES)
def test_an_entry_stands_under_the_checkpoint(index: int) -> None:
    """By its receipt, with the entry's bytes as the leaf; and no other entry's do."""
    size, root = head()
    raw = FILES[f"entries/{index}.json"]
    assert scitt.verify_inclusion(raw.hex(), index, size, path(index), root)
    assert not scitt.verify_inclusion((raw + b" ").hex(), index, size, path(index), root)


def test_a_lot_s_leaves_lead_to_the_root_of_its_closing() -> None:
    """The root that the entry `lot-closed` states is that of the balls, each ``[unit, serial]`` as JSON, by unit."""
    page = json.loads(FILES["lots/S1.json"])
    index, _, position = page["closed"].partition(".")
    closing = json.loads(FILES[f"entries/{index}.json"])["said"]["records"][int(position)]
    balls = [["U-1", "2345ACDFG"], ["U-2", "2345ACDFH"], ["U-9", "2345ACDFK"]]
    leaves = [json.dumps(ball, separators=(",", ":")).encode() for ball in balls]
    assert closing["balls_root"] == scitt.merkle_root([leaf.hex() for leaf in leaves])
    assert page["leaves"] == [scitt.leaf_hash(leaf.hex()) for leaf in leaves]


def test_a_ball_left_out_gives_another_root() -> None:
    """Two of three balls are not the lot."""
    page = json.loads(FILES["lots/S1.json"])
    two = [json.dumps(ball, separators=(",", ":")).encode() for ball in (["U-1", "2345ACDFG"], ["U-2", "2345ACDFH"])]
    assert page["balls_root"] != scitt.merkle_root([leaf.hex() for leaf in two])


def test_the_leaf_is_over_the_bytes_alone() -> None:
    """RFC 9162 section 2.1.1: SHA-256 over a zero byte and the entry."""
    raw = FILES["entries/8.json"]
    assert hashlib.sha256(b"\x00" + raw).hexdigest() == scitt.leaf_hash(raw.hex())
