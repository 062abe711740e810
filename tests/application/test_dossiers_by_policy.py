"""Dossiers under a release policy and a plant's own rulebook: what they carry, and that a check finds what was left out."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import msgspec
import pytest

from ledger.book.signing import format_verifier
from ledger.conformity.rulebook import rulebook_digest
from ledger.errors import DossierRejected
from ledger.evidence.verifier import check_dossier
from tests.application.floor import Floor, floor_signers
from tests.application.own_files import OWN, STRICTER, adopt, doubted, judged_by_own, state_policy
from tests.evidence.small_dossier import resealed

SIGNERS = floor_signers()
KEY = format_verifier(SIGNERS.checkpoint.verifier)


def files(floor: Floor, *serials: str) -> dict[str, bytes]:
    """The members of a dossier that a check accepts, by name."""
    out = io.BytesIO()
    floor.book.dossier(serials, out)
    check_dossier(io.BytesIO(out.getvalue()), [KEY])
    with zipfile.ZipFile(out) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def sheet(members: dict[str, bytes], unit: str) -> Any:
    """The sheet of a ball."""
    return msgspec.json.decode(members[f"balls/{unit}.json"])


def test_a_sheet_says_both(ready: Floor) -> None:
    """Body and house, whole and limit by limit, with the policy's fact, whose entry is there."""
    doubted(ready, "U-1", "P-1")
    state_policy(ready, decision="simple")
    stated = state_policy(ready)
    members = files(ready, "P-1")
    found = sheet(members, "U-1")
    (table,) = found["tables"]
    hard = next(line for line in table["verdicts"] if line["requirement"] == "usbc.hardness")
    assert (stated, "conforms", "undecided") == (found["policy"], table["overall"], table["house"])
    assert ("conforms", "undecided", "guarded", "4") == (
        hard["outcome"], hard["house"]["outcome"], hard["house"]["decision"], hard["house"]["guard_band"],
    )  # fmt: skip
    assert f"entries/{stated.partition('.')[0]}.json" in members


def test_without_a_policy_a_sheet_speaks_of_no_house(ready: Floor) -> None:
    """Nothing of it is there."""
    doubted(ready, "U-1", "P-1")
    found = files(ready, "P-1")["balls/U-1.json"]
    assert (False, False) == (b'"house":' in found, b'"policy":' in found)


@pytest.mark.parametrize(
    ("said", "instead"),
    [
        (b'"house":"undecided"', b'"house":"conforms"'),
        (b'"guard_band":"4"', b'"guard_band":"0"'),
        (b'"decision":"guarded"', b'"decision":"simple"'),
    ],
)
def test_what_a_sheet_says_of_the_house_is_worked_out_again(ready: Floor, said: bytes, instead: bytes) -> None:
    """Whoever changes it, and signs the dossier anew, is found out; its sentence alone is words."""
    doubted(ready, "U-1", "P-1")
    state_policy(ready)
    members = files(ready, "P-1")
    assert said in members["balls/U-1.json"]
    members["balls/U-1.json"] = members["balls/U-1.json"].replace(said, instead)
    with pytest.raises(DossierRejected, match="sheet differs from its entries"):
        check_dossier(io.BytesIO(_signed(members)), [KEY])
    again = files(ready, "P-1")
    again["balls/U-1.json"] = again["balls/U-1.json"].replace(b"house rule (", b"our rule (")
    check_dossier(io.BytesIO(_signed(again)), [KEY])


def test_the_newest_policy_cannot_be_left_out_unsaid(ready: Floor) -> None:
    """A sheet that names it without its entry is refused; and with it, an earlier one does not count."""
    doubted(ready, "U-1", "P-1")
    state_policy(ready, decision="simple")
    stated = state_policy(ready)
    members = files(ready, "P-1")
    left_out = stated.partition(".")[0]
    for name in (f"entries/{left_out}.json", f"receipts/{left_out}.tlog-proof"):
        del members[name]
    entries = sum(name.startswith("entries/") for name in members)
    with pytest.raises(DossierRejected, match="fact is not among the entries"):
        check_dossier(io.BytesIO(_signed(members, counts={"entries": entries})), [KEY])


def _signed(members: dict[str, bytes], **stated: Any) -> bytes:
    return resealed(members, SIGNERS.dossier, stated, origin=ready_origin(members))


def ready_origin(members: dict[str, bytes]) -> str:
    """The book that a dossier is of."""
    return str(msgspec.json.decode(members["manifest.json"])["book"])


def test_a_dossier_carries_the_plants_own_rulebook(ready: Floor) -> None:
    """Byte for byte, by its digest, and judged by it; an edition that superseded it is the one that is carried then."""
    judged_by_own(ready)
    doubted(ready, "U-1", "P-1", expanded="0.2")
    members = files(ready, "P-1")
    assert OWN == members[f"rulebooks/{rulebook_digest(OWN)}.toml"]
    assert {"own-limits": "conforms", "usbc-2026": "conforms"} == _overall(members)
    adopt(ready, STRICTER, "second")
    members = files(ready, "P-1")
    assert f"rulebooks/{rulebook_digest(OWN)}.toml" not in members
    assert STRICTER == members[f"rulebooks/{rulebook_digest(STRICTER)}.toml"]
    assert {"own-limits": "does_not_conform", "usbc-2026": "conforms"} == _overall(members)


def _overall(members: dict[str, bytes]) -> dict[str, str]:
    return {table["id"]: table["overall"] for table in sheet(members, "U-1")["tables"]}
