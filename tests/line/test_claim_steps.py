"""What follows a claim: examined, decided on the evidence that the reason needs, answered, corrected."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.claim_reasons import MENDS, REASONS, WORDS
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claims import ClaimDecided, Evidence
from ledger.line.corrections import Change, Correction
from ledger.line.record import Record
from tests.line.claiming import PHOTO, RECEIPT, decided, examined, opened, replaced, replied, sold_plant
from tests.line.making import at, stocked_plant
from tests.line.plant import Plant

BOUGHT = "2026-02-01"


def claimed(**fields: Any) -> Plant:
    """A plant with claim C-1 on ball U-1, which was sold."""
    plant, _ = sold_plant(2)
    plant.submit(opened(**{"unit": "U-1", **fields}))
    return plant


def test_a_claim_runs_from_open_to_replaced() -> None:
    """Opened, examined, decided, replaced by another ball, answered by a letter."""
    plant, _ = sold_plant(2)
    states = []
    for record in (opened(unit="U-1"), examined(), decided(), replaced("U-2"), replied(to="a person")):
        assert [] == plant.submit(record).codes
        states.append(plant.row(Claim, "C-1").state)
    assert ["open", "examined", "accept", "accept", "accept"] == states
    letters = [(row.digest, row.what) for row in plant.tables.where(ClaimEvidence, "claim", "C-1")]
    assert [("9" * 64, "reply")] == letters


@pytest.mark.parametrize(
    ("decision", "reason", "fields", "expected"),
    [
        ("accept", "fault-found", {}, ("examination",)),
        ("accept", "in-term", {"bought_on": BOUGHT, "proof": "receipt"}, ("photo", "examination")),
        ("accept", "in-term", {"bought_on": BOUGHT, "proof": "none", "evidence": (PHOTO,)}, ("proof-of-purchase",)),
        ("accept", "in-term", {"proof": "dealer", "evidence": (PHOTO,)}, ("date-of-purchase",)),
        ("accept", "known-fault", {}, ("fact-named",)),
        ("reject", "out-of-term", {"unit": "", "serial": "NONE"}, ("date-of-purchase", "date-of-making")),
        ("reject", "misuse", {"evidence": (PHOTO,)}, ("examination",)),
        ("reject", "drilled-wrongly", {}, ("examination",)),
        ("reject", "stored-hot", {}, ("examination",)),
        ("reject", "worn", {}, ("examination",)),
        ("goodwill", "no-fault-found", {}, ("examination",)),
        ("reject", "not-our-ball", {}, ("no-ball-of-ours",)),
        ("reject", "claimed-before", {}, ("other-claim",)),
        ("reject", "no-answer", {}, ("asked-before",)),
    ],
)
def test_a_decision_without_its_evidence_is_refused(
    decision: str, reason: str, fields: dict[str, Any], expected: tuple[str, ...]
) -> None:
    """It names what is missing, what is needed, and what would mend it; nothing changes."""
    plant, _ = sold_plant()
    said = {name: value for name, value in {"unit": "U-1", **fields}.items() if value}
    plant.submit(opened(**said))
    refusal = plant.refused(decided(decision, reason))
    assert (RuleStands, "reason") == (type(refusal), refusal.where)
    assert "common practice, no source" in refusal.problem
    assert all(WORDS[kind] in refusal.problem and WORDS[kind] in str(refusal.expected) for kind in expected)
    assert all(MENDS[kind] in refusal.mend for kind in expected)


@pytest.mark.parametrize(
    ("decision", "reason", "fields"),
    [
        ("accept", "in-term", {"bought_on": BOUGHT, "proof": "registration", "evidence": (PHOTO,)}),
        ("accept", "in-term", {"bought_on": BOUGHT, "evidence": (PHOTO, RECEIPT)}),
        ("accept", "known-fault", {}),
        ("reject", "out-of-term", {}),
        ("reject", "not-our-ball", {"unit": "", "serial": "NONE"}),
        ("reject", "claimed-before", {}),
        ("goodwill", "goodwill", {}),
    ],
)
def test_a_decision_with_its_evidence_stands(decision: str, reason: str, fields: dict[str, Any]) -> None:
    """A receipt among the files is a proof too; the date of making stands in the book."""
    plant, _ = sold_plant()
    said = {name: value for name, value in {"unit": "U-1", **fields}.items() if value}
    other = plant.submit(opened("C-0", unit="U-1"))
    plant.submit(opened(**said))
    plant.submit(decided(decision, reason, rests_on=(other.address,)))
    row = plant.row(Claim, "C-1")
    assert (decision, reason, None) == (row.state, row.reason, row.due_on)


def test_every_reason_carries_a_decision_and_names_known_evidence() -> None:
    """The table is whole: each kind of evidence has words and a mend, and no reason is there twice."""
    decisions = {decision for reason in REASONS for decision in reason.decisions}
    assert {"accept", "reject", "goodwill", "need-more", "send-back"} == decisions
    kinds = {kind for reason in REASONS for need in reason.needs for kind in need}
    assert (kinds, kinds) == (set(WORDS), set(MENDS))
    assert len(REASONS) == len({reason.reason for reason in REASONS})


@pytest.mark.parametrize(
    ("decision", "reason"), [("accept", "misuse"), ("reject", "in-term"), ("need-more", "goodwill"), ("accept", "nice")]
)
def test_a_reason_that_does_not_carry_the_decision_is_refused(decision: str, reason: str) -> None:
    """The answer lists the reasons that do."""
    plant = claimed()
    refusal = plant.refused(decided(decision, reason))
    assert (RuleStands, "reason", reason) == (type(refusal), refusal.where, refusal.got)
    listed = [one.reason for one in REASONS if decision in one.decisions]
    assert "one of " + ", ".join(listed) == refusal.expected


def test_asking_for_more_leaves_the_claim_undecided() -> None:
    """It waits until a date; what does not come lets it be rejected, what comes lets it be decided."""
    plant = claimed(answer_by="2026-04-20")
    assert "2026-04-20" == plant.row(Claim, "C-1").due_on
    plant.submit(decided("need-more", "proof-missing", answer_by="2026-05-01"))
    row = plant.row(Claim, "C-1")
    assert ("waiting", "2026-05-01") == (row.state, row.due_on)
    plant.submit(examined())
    assert "waiting" == plant.row(Claim, "C-1").state
    plant.submit(decided("reject", "no-answer"))
    row = plant.row(Claim, "C-1")
    assert ("reject", None) == (row.state, row.due_on)


def test_a_ball_sent_back_is_examined_and_decided() -> None:
    """Its examination takes it on."""
    plant = claimed()
    plant.submit(decided("send-back", "examine-at-maker", answer_by="2026-05-01"))
    assert "sent-back" == plant.row(Claim, "C-1").state
    plant.submit(examined())
    assert "examined" == plant.row(Claim, "C-1").state
    plant.submit(decided())
    assert "accept" == plant.row(Claim, "C-1").state


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (decided(claim="C-9"), UnknownSubject, "claim"),
        (examined("C-9"), UnknownSubject, "claim"),
        (replied("C-9"), UnknownSubject, "claim"),
        (decided("goodwill", "goodwill", rests_on=("99.0",)), UnknownSubject, "rests_on[0]"),
        (decided("goodwill", "goodwill", answer_by="2026-05-01"), Contradiction, "answer_by"),
        (decided("need-more", "photo-missing", answer_by="2026-02-30"), MalformedRecord, "answer_by"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    plant = claimed()
    refusal = plant.refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_decision_does_not_rest_on_what_was_withdrawn() -> None:
    """A fact that was taken back says nothing any more."""
    plant = claimed()
    found = plant.submit(examined())
    plant.submit(Correction(at=at(102), reason="other-ball", changes=(Change(fact=found.address),)))
    refusal = plant.refused(decided("goodwill", "goodwill", rests_on=(found.address,)))
    assert (RuleStands, "rests_on[0]") == (type(refusal), refusal.where)


def test_a_decided_claim_is_decided_anew_only_by_correction() -> None:
    """An examination after the decision does not reopen it; a correction puts another decision in its place."""
    plant = claimed()
    plant.submit(examined())
    first = plant.submit(decided("reject", "misuse"))
    plant.submit(examined())
    assert "reject" == plant.row(Claim, "C-1").state
    refusal = plant.refused(decided())
    assert (Contradiction, "claim") == (type(refusal), refusal.where)
    assert first.address in refusal.mend
    anew = Change(fact=first.address, replacement=decided())
    plant.submit(Correction(at=at(104), reason="fault-overlooked", changes=(anew,)))
    row = plant.row(Claim, "C-1")
    assert ("accept", "fault-found", first.address) == (row.state, row.reason, row.decided)


def test_a_corrected_decision_needs_its_evidence_where_it_stands() -> None:
    """What was examined only afterwards did not bear the decision."""
    plant = claimed()
    first = plant.submit(decided("reject", "out-of-term"))
    plant.submit(examined())
    anew: Record = ClaimDecided(at=at(102), claim="C-1", decision="reject", reason="misuse")
    refusal = plant.refused(
        Correction(at=at(104), reason="typing", changes=(Change(fact=first.address, replacement=anew),))
    )
    assert (RuleStands, "changes[0].replacement.reason") == (type(refusal), refusal.where)


def test_a_decision_whose_evidence_is_corrected_away_is_flagged() -> None:
    """It stands until it is corrected too; nothing is held, and the correction says which decision it is."""
    plant = claimed(bought_on=BOUGHT, proof="dealer")
    found = plant.submit(examined())
    first = plant.submit(decided("accept", "in-term"))
    away = Change(fact=found.address)
    (breach,) = plant.submit(Correction(at=at(104), reason="other-ball", changes=(away,))).breaches
    assert ("claim-unfounded", False, first.address) == (breach.code, breach.holds, breach.fact)
    assert "the decision on claim C-1 (accept, in-term) lacks a photo or an examination" in breach.said
    again = Correction(
        at=at(105),
        reason="decided-anew",
        changes=(Change(fact=first.address, replacement=decided("goodwill", "goodwill")),),
    )
    assert [] == plant.submit(again).codes


def test_a_claim_that_others_speak_of_is_not_withdrawn_alone() -> None:
    """Its examination would speak of nothing."""
    plant, _ = sold_plant()
    first = plant.submit(opened(unit="U-1", evidence=(Evidence(digest="4" * 64, what="other"),)))
    found = plant.submit(examined(evidence=(PHOTO,)))
    alone = Correction(at=at(104), reason="other-claim", changes=(Change(fact=first.address),))
    assert Contradiction is type(plant.refused(alone))
    both = Correction(
        at=at(104), reason="other-claim", changes=(Change(fact=first.address), Change(fact=found.address))
    )
    plant.submit(both)
    assert ([], []) == (plant.tables.listed()["Claim"], plant.tables.listed()["ClaimEvidence"])


def test_a_claim_on_nothing_is_decided_like_any_other() -> None:
    """No number at all: there is no ball of ours, and no date of making."""
    plant = stocked_plant()
    plant.submit(opened())
    plant.submit(decided("reject", "not-our-ball"))
    assert "reject" == plant.row(Claim, "C-1").state
