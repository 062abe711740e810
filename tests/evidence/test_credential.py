"""The credential of a ball: what it says, and that it says no more than its sheet."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest
from msgspec import UNSET

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.signing import signer_from_seed
from ledger.conformity.rulebook import parse_rulebook, rulebook_digest
from ledger.errors import MalformedKey
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.credential import STATEMENT, Ground, credential, entries_named, make_credential
from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.event_names import Plant, ball_address
from ledger.evidence.own_terms import TERMS
from tests.evidence.small_dossier import ORIGIN, RECORDED, RULEBOOK, ball_rows, book, sheet
from tests.evidence.test_data_integrity import SIGNER

PLANT = Plant("id.example.com", ORIGIN)
DID = "did:web:id.example.com"
RULEBOOKS = (DatedRulebook(rulebook_digest(RULEBOOK), parse_rulebook(RULEBOOK)),)


def ground(unit: str = "U-1", **more: Any) -> Ground:
    """What the credential of a ball of the little book rests on."""
    fields: dict[str, Any] = {
        "plant": PLANT,
        "issuer": DID,
        "ball": ball_address(PLANT, ball_rows(unit).unit, "09521234543213"),
        "rulebooks": RULEBOOKS,
        "head": parse_checkpoint(book().note),
        "entered": RECORDED,
    }
    return Ground(**(fields | more))


CREDENTIAL = make_credential(sheet("U-1"), ground(), SIGNER)
PLAIN: dict[str, Any] = json.loads(CREDENTIAL)


def test_it_is_a_credential_of_the_maker_about_one_ball() -> None:
    """Issuer, subject, kind, and since when."""
    assert ["VerifiableCredential", "pb:ConformityStatement"] == PLAIN["type"]
    assert (DID, RECORDED) == (PLAIN["issuer"], PLAIN["validFrom"])
    assert "https://id.example.com/01/09521234543213/21/2345ACDFG" == PLAIN["credentialSubject"]["id"]
    assert ["https://www.w3.org/ns/credentials/v2", {"pb": "https://id.example.com/terms/"}] == PLAIN["@context"]


def test_it_says_who_assessed_and_that_it_is_no_approval() -> None:
    """In a field, and in words; and where to ask what holds now."""
    assert ("Self", STATEMENT) == (PLAIN["pb:assessorLevel"], PLAIN["description"])
    assert "no approval" in STATEMENT
    assert PLAIN["credentialSubject"]["id"] == PLAIN["pb:askAt"]
    assert "credentialStatus" not in PLAIN


def test_each_verdict_has_its_figure_its_u_its_limit_and_where_the_limit_is_from() -> None:
    """As the sheet has them; U is that by which it was judged, k = 2."""
    [judgement] = PLAIN["credentialSubject"]["pb:judgements"]
    assert ("house", rulebook_digest(RULEBOOK), "conforms") == tuple(
        judgement[f"pb:{name}"] for name in ("rulebook", "rulebookDigest", "overall")
    )
    verdicts = {one["pb:requirement"]: one for one in judgement["pb:verdicts"]}
    assert {"hardness", "mass"} == verdicts.keys()
    mass = verdicts["mass"]
    assert ("15.1", "0.020000", "lb", "second-hand", "8.1") == tuple(
        mass[f"pb:{name}"] for name in ("value", "expandedUncertainty", "readIn", "provenance", "fact")
    )
    assert "16" in mass["pb:limit"]


def test_a_figure_without_u_says_none() -> None:
    """And one that was not measured has no figure."""
    readings = tuple(msgspec.structs.replace(one, standard_uncertainty=UNSET) for one in sheet("U-1").readings)
    bare = credential(msgspec.structs.replace(sheet("U-1"), readings=readings), ground())
    verdicts = bare["credentialSubject"]["pb:judgements"][0]["pb:verdicts"]
    assert not any("pb:expandedUncertainty" in one for one in verdicts)


def test_it_names_the_head_under_which_the_facts_stand() -> None:
    """Book, size, root, and the facts."""
    [evidence] = PLAIN["evidence"]
    head = parse_checkpoint(book().note)
    assert (ORIGIN, head.tree_size, ["8.0", "8.1"]) == tuple(evidence[f"pb:{n}"] for n in ("book", "treeSize", "facts"))
    assert evidence["pb:rootHash"] in book().note.decode()


def test_every_own_name_has_a_meaning() -> None:
    """Each under our prefix stands in the table."""
    names = {part.split('"')[0] for part in CREDENTIAL.decode().split('"pb:')[1:]}
    assert len(names) > 20
    assert names <= TERMS.keys()


def test_the_same_ground_gives_the_same_bytes() -> None:
    """And another ball or head another id."""
    assert CREDENTIAL == make_credential(sheet("U-1"), ground(), SIGNER)
    assert PLAIN["id"] != credential(sheet("U-2"), ground("U-2"))["id"]


def test_every_entry_that_the_sheet_names_is_known() -> None:
    """Of calibrations and facts, and of what corrected one."""
    assert [3, 9, 11] == entries_named(sheet("U-2"))


def test_only_a_key_for_credentials_signs() -> None:
    """Not that of dossiers."""
    with pytest.raises(MalformedKey):
        make_credential(sheet("U-1"), ground(), signer_from_seed("x", bytes(32), "dossier"))


def test_a_ball_without_class_or_grade_says_none() -> None:
    """What is absent is left out, never null."""
    bare: BallSheet = msgspec.structs.replace(sheet("U-1"), weight_class=UNSET, revision=UNSET)
    claims = credential(bare, ground())["credentialSubject"]
    assert not {"pb:weightClassLb", "pb:revision"} & claims.keys()
    assert None not in claims.values()
