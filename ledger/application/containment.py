"""What else is affected, and where it is: the set below a suspect counted, and the holds that would contain it.

Balls are counted once each, by where the book has them; pieces that are no balls yet by the accounts of their lots.
"""

from __future__ import annotations

from collections import Counter

import msgspec

from ledger.application.hold_plan import HoldPlan, hold_plan
from ledger.application.suspect_set import SuspectSet
from ledger.line.lots import left_of
from ledger.line.suspects import Suspect
from ledger.store.reader import Reader
from ledger.store.suspects import sent_to
from ledger.store.whereabouts import Whereabouts
from ledger.tracing.parts import Certainty
from ledger.warranty.places import PLACES, place_of

CAUTION = (
    "Possible balls are counted because the records do not clear them. A count says where the book has a ball, not where "
    "it lies."
)


class HowMany(msgspec.Struct, frozen=True, kw_only=True):
    """Balls that are certain, and balls that are possible."""

    certain: int = 0
    possible: int = 0


class AtPlace(msgspec.Struct, frozen=True, kw_only=True):
    """How many balls are at a place."""

    place: str
    certain: int
    possible: int


class SentTo(msgspec.Struct, frozen=True, kw_only=True):
    """How many balls are away with a consignee; None: sent to somebody who is not in the register."""

    consignee: str | None
    shipments: int
    certain: int
    possible: int


class PiecesLeft(msgspec.Struct, frozen=True, kw_only=True):
    """What is left in lots of one stage, by their accounts: pieces, or grams of materials and batches.

    ``lost``: scrapped, tested, retained or otherwise taken out of these lots. Lots of which more was used than made count
    as empty.
    """

    stage: str
    unit: str
    lots: int
    certain: int
    possible: int
    lost: int


class HoldsProposed(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The holds that an order would place; ``fits``: whether they fit into one submission.

    ``lots`` are held whole, ``units`` one by one; ``rule`` is a prefix of serials held by rule. ``whole_lots``: how many
    holds it would take to hold every lot with a suspect ball whole.
    """

    lots: tuple[str, ...]
    units: int
    fits: bool
    whole_lots: int
    rule: str = ""
    mend: str = ""


class SuspectAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """All below a suspect. The counts by place add up to ``balls``, those by consignee to what is shipped."""

    suspect: Suspect
    balls: HowMany
    places: tuple[AtPlace, ...]
    consignees: tuple[SentTo, ...]
    pieces: tuple[PiecesLeft, ...]
    holds: HoldsProposed
    caution: str = CAUTION


def suspect_answer(reader: Reader, suspect: Suspect) -> SuspectAnswer:
    """Count what is below a suspect, and say what an order would hold. Raises MalformedRecord, NotFound."""
    found = SuspectSet(reader, suspect)
    counts = found.counts()
    plan = hold_plan(reader, found)
    return SuspectAnswer(
        suspect=suspect,
        balls=HowMany(certain=counts["certain"].total(), possible=counts["possible"].total()),
        places=_places(counts),
        consignees=_consignees(reader, counts),
        pieces=pieces_left(found),
        holds=_proposed(plan),
    )


def _places(counts: dict[Certainty, Counter[Whereabouts]]) -> tuple[AtPlace, ...]:
    found = {certainty: Counter[str]() for certainty in counts}
    for certainty, counter in counts.items():
        for (state, away), count in counter.items():
            found[certainty][place_of(state, away)] += count
    return tuple(
        AtPlace(place=place, certain=found["certain"][place], possible=found["possible"][place]) for place in PLACES
    )


def _consignees(reader: Reader, counts: dict[Certainty, Counter[Whereabouts]]) -> tuple[SentTo, ...]:
    away = {(certainty, shipment): count for certainty, counter in counts.items()
            for (state, shipment), count in counter.items() if state == "shipped" and shipment is not None}  # fmt: skip
    sent = sent_to(reader, sorted({shipment for _, shipment in away}))
    balls: dict[str | None, Counter[str]] = {}
    shipments: dict[str | None, set[str]] = {}
    for (certainty, shipment), count in away.items():
        consignee = sent[shipment][1] if shipment in sent else None
        balls.setdefault(consignee, Counter())[certainty] += count
        shipments.setdefault(consignee, set()).add(shipment)
    ordered = sorted(balls, key=lambda name: (-balls[name].total(), name or ""))
    return tuple(
        SentTo(
            consignee=name,
            shipments=len(shipments[name]),
            certain=balls[name]["certain"],
            possible=balls[name]["possible"],
        )
        for name in ordered
    )


def pieces_left(found: SuspectSet) -> tuple[PiecesLeft, ...]:
    """What is left of the lots below a suspect, stage by stage, from the drum on."""
    told = []
    for stage in ("material", "batch", "block", "core", "shell"):
        rows = [row for row in found.lots.values() if row.stage == stage]
        left = Counter[str]()
        for row in rows:
            left[found.trace.certainty_of(row.lot) or "possible"] += max(left_of(row), 0)
        if rows:
            told.append(
                PiecesLeft(
                    stage=stage,
                    unit="g" if stage in {"material", "batch"} else "pieces",
                    lots=len(rows),
                    certain=left["certain"],
                    possible=left["possible"],
                    lost=sum(row.lost for row in rows),
                )
            )
    return tuple(told)


def _proposed(plan: HoldPlan) -> HoldsProposed:
    return HoldsProposed(
        lots=plan.lots,
        units=len(plan.units) + plan.unlisted,
        rule=plan.serial_prefix,
        fits=plan.fits,
        whole_lots=len(plan.whole_lots),
        mend=plan.mend,
    )
