"""A W3C Verifiable Credential 2.0 about one ball: the maker's own statement of how it came out, signed by the maker.

It says which figures were judged by which edition of a rulebook, and under which head of the book the facts stand.  **It is
no approval**, by a body or by the maker: whoever reads it finds ``Self`` for who assessed, and the sentence of `STATEMENT`.

There is no ``credentialStatus``, since no list stands behind one: a later entry may correct a reading, or hold the ball, and
a credential made then says otherwise.  ``pb:askAt`` is where to ask.  It is valid from the instant at which the newest fact
that it rests on was entered, and has no end of its own.

The same ball, facts and head give the same bytes.  The contexts are pinned: the one of VC 2.0, and our prefix.

Source: W3C Verifiable Credentials Data Model v2.0 (Recommendation, 15 May 2025), sections 4 and 5.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from msgspec import UNSET

from ledger.book.c2sp_text import format_base64
from ledger.book.canonical import encode
from ledger.book.checkpoint import Checkpoint, UnverifiedCheckpoint
from ledger.book.signing import NoteSigner
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.data_integrity import prove
from ledger.evidence.did_web import method_of
from ledger.evidence.dossier_format import BallSheet, ReadingLine, VerdictLine, VerdictTable
from ledger.evidence.event_names import Plant
from ledger.evidence.own_terms import PREFIX

VC_CONTEXT: Final = "https://www.w3.org/ns/credentials/v2"

STATEMENT = (
    "The maker's own assessment of one ball by the limits named, from its own readings as they stood in its book. "
    "It is no approval by any body, and a later entry of the book may change what is said here."
)


@dataclass(frozen=True, slots=True)
class Ground:
    """What a credential rests on besides the sheet of the ball.

    ``ball``: its address (`ledger.line.gs1.format_link`). ``rulebooks``: those by which the sheet is judged. ``head``: the
    head of the book under which every fact stands. ``entered``: when the newest of `entries_named` was entered.
    """

    plant: Plant
    issuer: str
    ball: str
    rulebooks: Sequence[DatedRulebook]
    head: UnverifiedCheckpoint | Checkpoint
    entered: str


def make_credential(sheet: BallSheet, ground: Ground, signer: NoteSigner) -> bytes:
    """The signed credential: canonical JSON, and a newline.

    Raises MalformedKey for a key of another purpose, TooLarge for a sheet of more verdicts than a canonical document holds.
    """
    method = method_of(ground.issuer, signer.verifier.public)
    return encode(prove(credential(sheet, ground), method, signer)) + b"\n"


def pinned_contexts(terms: str) -> list[Any]:
    """The contexts that a credential of ours has, these and no other, in this order."""
    return [VC_CONTEXT, {PREFIX: terms}]


def credential(sheet: BallSheet, ground: Ground) -> dict[str, Any]:
    """The credential without its proof, as plain JSON."""
    plant, head = ground.plant, ground.head
    name = f"{plant.origin}/credentials/{head.tree_size}/{sheet.unit}"
    return {
        "@context": pinned_contexts(plant.terms),
        "id": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, name)}",
        "type": ["VerifiableCredential", f"{PREFIX}:ConformityStatement"],
        "issuer": ground.issuer,
        "validFrom": ground.entered,
        "description": STATEMENT,
        "credentialSubject": {"id": ground.ball, **_own(_claims(sheet, ground))},
        "evidence": [{"type": [f"{PREFIX}:BookCheckpoint"], **_own(_evidence(sheet, ground))}],
        **_own({"assessorLevel": "Self", "askAt": ground.ball}),
    }


def _claims(sheet: BallSheet, ground: Ground) -> dict[str, Any]:
    return {
        "unit": sheet.unit,
        "serial": sheet.serial,
        "model": sheet.model,
        "modelName": sheet.model_name,
        "revision": sheet.revision,
        "weightClassLb": sheet.weight_class,
        "lot": sheet.lot,
        "state": sheet.state,
        "grade": sheet.grade,
        "judgements": [
            _own(_judgement(table, sheet.readings, dated))
            for table, dated in zip(sheet.tables, ground.rulebooks, strict=True)
        ],
    }


def _judgement(table: VerdictTable, readings: Iterable[ReadingLine], dated: DatedRulebook) -> dict[str, Any]:
    quantities = {one.id: one.quantity for one in dated.rulebook.requirements}
    read = {(line.quantity, line.fact): line for line in readings}
    return {
        "rulebook": table.id,
        "rulebookDigest": table.rulebook,
        "madeOn": table.made_on,
        "overall": table.overall,
        "verdicts": [
            _own(_verdict(line, read.get((quantities.get(line.requirement, ""), str(line.fact)))))
            for line in table.verdicts
        ],
    }


def _verdict(line: VerdictLine, reading: ReadingLine | None) -> dict[str, Any]:
    return {
        "requirement": line.requirement,
        "outcome": line.outcome,
        "limit": line.limit,
        "unitOfMeasure": line.unit,
        "value": line.value,
        "margin": line.margin,
        **_uncertainty(reading),
        "decision": line.decision,
        "provenance": line.provenance,
        "fact": line.fact,
    }


def _uncertainty(reading: ReadingLine | None) -> dict[str, Any]:
    """U (k = 2) of the figure as it was judged, in the unit in which it was read, to a millionth."""
    if reading is None or reading.standard_uncertainty is UNSET:
        return {}
    expanded = Decimal(2 * reading.standard_uncertainty).scaleb(-6)
    return {"expandedUncertainty": format(expanded, "f"), "readIn": reading.unit}


def _evidence(sheet: BallSheet, ground: Ground) -> dict[str, Any]:
    return {
        "book": ground.plant.origin,
        "treeSize": ground.head.tree_size,
        "rootHash": format_base64(ground.head.root_hash),
        "facts": [line.fact for line in sheet.facts],
    }


def entries_named(sheet: BallSheet) -> list[int]:
    """The entries of every fact, and of every body of one, that the sheet of a ball names, ascending."""
    named = {line.fact for line in sheet.facts} | {line.body for line in sheet.facts if line.body is not UNSET}
    named |= {line.fact for line in sheet.readings}
    named |= {line.calibration for line in sheet.readings if line.calibration is not UNSET}
    named |= {fact for fact in (sheet.plan, sheet.policy) if fact is not UNSET}
    named |= {line.fact for table in sheet.tables for line in table.verdicts if line.fact is not UNSET}
    return sorted({int(address.partition(".")[0]) for address in named})


def _own(fields: dict[str, Any]) -> dict[str, Any]:
    """Fields under our prefix; what is absent is left out."""
    return {f"{PREFIX}:{name}": value for name, value in fields.items() if value is not UNSET}
