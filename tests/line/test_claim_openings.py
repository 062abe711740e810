"""Opening a claim: what is flagged, what is refused, and that nothing is held."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedRecord, UnknownSubject
from ledger.line.balls import BallEngravedAnew
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claims import ClaimOpened, Drilled, Imported
from ledger.line.corrections import Change, Correction
from ledger.line.fact import Breach
from ledger.line.failure_modes import TRADE_MODES, FailureModeAdded
from ledger.line.releases import Scrap
from tests.line.claiming import PHOTO, RECEIPT, decided, examined, left, opened, sold_plant
from tests.line.making import allot, at, engrave, engraving, stocked_plant
from tests.line.plant import Plant


def only(plant: Plant, record: ClaimOpened) -> Breach:
    """The one breach of a claim."""
    (breach,) = plant.submit(record).breaches
    return breach


def test_a_claim_keeps_what_was_told() -> None:
    """The row has the plain facts of the claim, and one row for each file; people are nowhere in it."""
    plant, [serial] = sold_plant()
    record = opened(
        serial=serial, bought_on="2026-02-01", proof="receipt", stored="vehicle", claimant="a person",
        contact="a telephone number", via="SHOP-1", market="eu", evidence=(PHOTO, RECEIPT), answer_by="2026-05-01",
        keep_until="2030-01-01", drilled=Drilled(on="2026-02-03", by="a driller", layout="fingertip", fitted="both"),
        imported=Imported(file="3" * 64, line=7),
    )  # fmt: skip
    entered = plant.submit(record)
    assert ["claim-unknown-consignee"] == entered.codes
    claim = Claim(
        claim="C-1", serial=serial, unit=None, mode="crack-over-block", opened_ms=instant_ms(at(100)),
        bought_on="2026-02-01", state="open", replacement=None, due_on="2026-05-01", keep_until="2030-01-01",
        via="SHOP-1", market="eu", imported=True, proof="receipt", drilled_on="2026-02-03", address=entered.address,
    )  # fmt: skip
    assert claim == plant.row(Claim, "C-1")
    rows: list[Any] = plant.tables.listed()["ClaimEvidence"]
    files = [(row.digest, row.what, row.address) for row in rows]
    assert [("1" * 64, "photo", entered.address), ("2" * 64, "receipt", entered.address)] == files
    assert "a person" not in repr(plant.tables.listed())


def test_a_number_is_found_however_it_was_typed() -> None:
    """Lower case and hyphens are how people write a number; the claim keeps it as engraved."""
    plant, [serial] = sold_plant()
    assert [] == plant.submit(opened(serial=f"{serial[:3]}-{serial[3:]}".lower())).codes
    assert serial == plant.row(Claim, "C-1").serial


def test_a_number_that_no_ball_bears_is_flagged_and_holds_nothing() -> None:
    """A number that was allotted, or could have been, is unknown; so is none at all."""
    plant = stocked_plant()
    spare = allot(plant)[0]
    for record in (opened(serial=spare), opened("C-2")):
        assert ["claim-unknown-ball"] == plant.submit(record).codes
    assert [] == plant.tables.listed()["Hold"]


def test_a_number_of_no_scheme_of_the_book_is_flagged_as_foreign() -> None:
    """Neither the own scheme's shape, nor allotted, nor on a ball: another maker's, or misread."""
    plant = stocked_plant()
    breach = only(plant, opened(serial="H77-41202"))
    assert ("claim-foreign-number", False, "claim:C-1") == (breach.code, breach.holds, breach.node)
    assert "H77-41202" in breach.said
    plant.submit(engraving("U-1", "H77-41203", scheme="prior"), left("U-1"))
    assert [] == plant.submit(opened("C-2", serial="H77-41203")).codes


def test_a_number_on_several_balls_is_flagged() -> None:
    """Prior numbers repeat; one ball that bore a number twice is one ball; naming the unit settles it."""
    plant = stocked_plant()
    plant.submit(engraving("U-1", "A-1", scheme="prior"), engraving("U-2", "A-1", scheme="prior"), left("U-1", "U-2"))
    assert "U-1, U-2" in only(plant, opened(serial="A-1")).said
    assert [] == plant.submit(opened("C-2", serial="A-1", unit="U-2")).codes
    plant.submit(engraving("U-3", "A-3", scheme="prior"))
    for serial in (allot(plant)[0], "A-3"):
        scheme: Any = "prior" if serial == "A-3" else "own"
        plant.submit(BallEngravedAnew(at=at(20), unit="U-3", serial=serial, station="E", reason="slip", scheme=scheme))
    plant.submit(left("U-3", shipment="SH-3"))
    assert [] == plant.submit(opened("C-3", serial="A-3")).codes


@pytest.mark.parametrize(
    ("how", "state"), [("scrap", "scrapped"), ("destructive-test", "destroyed"), ("retained", "retained")]
)
def test_a_ball_that_ended_at_the_maker_is_flagged(how: Any, state: str) -> None:
    """It cannot be with a claimant: the number was copied or misread, or the book is wrong."""
    plant, [serial] = sold_plant()
    plant.submit(Scrap(at=at(30), unit="U-1", how=how, reason="cracked"))
    breach = only(plant, opened(serial=serial))
    assert ("claim-scrapped-ball", False) == (breach.code, breach.holds)
    assert f"U-1 is {state}" in breach.said


def test_a_ball_that_never_left_is_flagged() -> None:
    """By this book it is still at the plant; one that came back again was away."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    assert "claim-never-shipped" == only(plant, opened(serial=serial)).code


def test_a_second_claim_for_the_same_fault_names_the_first() -> None:
    """By number or by unit, open or decided; another fault is another claim, and so is another ball."""
    plant, serials = sold_plant(2)
    first = plant.submit(opened(serial=serials[0]))
    breach = only(plant, opened("C-2", day=101, unit="U-1"))
    assert ("claim-repeated", first.address, False) == (breach.code, breach.fact, breach.holds)
    assert "claim C-1 on U-1 for crack-over-block was opened before, and is open" == breach.said
    assert [] == plant.submit(opened("C-3", unit="U-1", mode="pin-loose"), opened("C-4", unit="U-2")).codes
    plant.submit(examined("C-2"), decided("reject", "misuse", "C-2"))
    assert (
        "claim C-2 on U-1 for crack-over-block was opened before, and is rejected"
        == only(plant, opened("C-5", day=104, serial=serials[0])).said
    )


def test_a_second_claim_on_an_unknown_number_names_the_first() -> None:
    """No ball bears it; the number is claimed twice all the same."""
    plant = stocked_plant()
    plant.submit(opened(serial="H77-41202"))
    assert ["claim-foreign-number", "claim-repeated"] == plant.submit(opened("C-2", serial="H77-41202")).codes
    assert ["claim-unknown-ball"] == plant.submit(opened("C-3")).codes
    assert ["claim-unknown-ball"] == plant.submit(opened("C-4")).codes


def test_a_claim_by_a_repeated_number_is_not_one_on_either_ball() -> None:
    """Where two balls bear the number, a claim by it alone says of neither that it was claimed."""
    plant = stocked_plant()
    plant.submit(engraving("U-1", "A-1", scheme="prior"), engraving("U-2", "A-1", scheme="prior"), left("U-1", "U-2"))
    plant.submit(opened(serial="A-1"))
    assert [] == plant.submit(opened("C-2", unit="U-1")).codes


def test_purchase_and_drilling_before_manufacture_say_both_dates() -> None:
    """U-1 was made on 9 January 2026; the dates are those of the calendar where the claim was taken."""
    plant, _ = sold_plant()
    record = opened(unit="U-1", bought_on="2026-01-08", drilled=Drilled(on="2026-01-07"))
    said = {breach.code: breach.said for breach in plant.submit(record).breaches}
    assert {
        "claim-bought-before-made": "bought on 2026-01-08, before U-1 was made on 2026-01-09",
        "claim-drilled-before-made": "drilled on 2026-01-07, before U-1 was made on 2026-01-09",
    } == said
    local = ClaimOpened(at=at(100, offset="-11:00"), claim="C-2", mode="void", unit="U-1", bought_on="2026-01-08")
    assert [] == plant.submit(local).codes


def test_purchase_and_drilling_after_the_claim_are_flagged() -> None:
    """The day of the claim itself is not after it; no ball need be known."""
    plant, _ = sold_plant()
    late: dict[str, Any] = {"bought_on": "2026-04-11", "drilled": Drilled(on="2026-04-12")}
    assert "2026-04-10" == at(100)[:10]
    assert ["claim-bought-after-claim", "claim-drilled-after-claim"] == plant.submit(opened(unit="U-1", **late)).codes
    assert [] == plant.submit(opened("C-2", unit="U-1", mode="void", bought_on="2026-04-10")).codes
    codes = plant.submit(opened("C-3", serial="NONE", bought_on="2026-04-11")).codes
    assert ["claim-bought-after-claim", "claim-foreign-number"] == codes


def test_an_unknown_failure_mode_is_refused_with_the_list() -> None:
    """Until the plant adds it; a term of the trade cannot be added again."""
    plant, _ = sold_plant()
    refusal = plant.refused(opened(unit="U-1", mode="smells"))
    assert (UnknownSubject, "mode") == (type(refusal), refusal.where)
    assert all(mode in str(refusal.expected) for mode in TRADE_MODES)
    added = FailureModeAdded(at=at(99), mode="smells", words="smells of the mould")
    plant.submit(added)
    assert [] == plant.submit(opened(unit="U-1", mode="smells")).codes
    again = plant.refused(FailureModeAdded(at=at(99), mode="void", words="a void"))
    assert (Contradiction, "mode") == (type(again), again.where)


@pytest.mark.parametrize(
    ("fields", "error", "where"),
    [
        ({"claim": "C-0"}, Contradiction, "claim"),
        ({"unit": "U-9"}, UnknownSubject, "unit"),
        ({"bought_on": "2026-02-30"}, MalformedRecord, "bought_on"),
        ({"drilled": Drilled(on="2026-13-01")}, MalformedRecord, "drilled.on"),
        ({"answer_by": "2026-00-01"}, MalformedRecord, "answer_by"),
        ({"keep_until": "2027-02-29"}, MalformedRecord, "keep_until"),
    ],
)
def test_what_cannot_be_a_claim_is_refused(fields: dict[str, Any], error: type[Exception], where: str) -> None:
    """A claim id in use, a ball that is not there, a date that is not in the calendar."""
    plant, _ = sold_plant()
    plant.submit(opened("C-0", unit="U-1"))
    refusal = plant.refused(opened(**fields))
    assert (error, where) == (type(refusal), refusal.where)


def test_a_corrected_claim_is_judged_at_its_own_place() -> None:
    """Claims opened after it do not make it a repeated one; its files are those that it names now."""
    plant, [serial] = sold_plant()
    first = plant.submit(opened(serial="NONE", evidence=(PHOTO, RECEIPT)))
    plant.submit(opened("C-2", day=101, unit="U-1"))
    change = Change(fact=first.address, replacement=opened(serial=serial, evidence=(RECEIPT,)))
    correction = Correction(at=at(103), reason="misread", changes=(change,))
    assert [] == plant.submit(correction).codes
    assert serial == plant.row(Claim, "C-1").serial
    assert ["receipt"] == [row.what for row in plant.tables.where(ClaimEvidence, "claim", "C-1")]
