"""The claims of a book, folded a second way from the JSON of its standing facts; part of the independent fold.

What opened a claim comes before all that is said of it, wherever a correction put it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

import msgspec

from ledger.errors import MalformedSerial
from ledger.line.claim_rows import Claim, ClaimEvidence, FailureMode, Replacement, WarrantyTermsRow
from ledger.line.fact import Fact
from ledger.line.serial import parse_serial

COPIED = ("unit", "mode", "bought_on", "keep_until", "via", "market", "proof")
STATES = {"need-more": "waiting", "send-back": "sent-back"}


def told_claims(facts: Iterable[Fact]) -> dict[str, Any]:
    """What the standing facts say, in the shape of `shown_claims`."""
    said: defaultdict[str, list[tuple[Fact, dict[str, Any]]]] = defaultdict(list)
    modes, terms = {}, {}
    for fact in facts:
        record = msgspec.to_builtins(fact.record)
        if record["kind"].startswith("claim-"):
            said[record["claim"]].append((fact, record))
        elif record["kind"] == "failure-mode-added":
            modes[record["mode"]] = record["words"], fact.address
        elif record["kind"] == "warranty-terms-adopted":
            terms[record["terms"]] = record["digest"]
    claims: dict[str, dict[str, Any]] = {}
    files: dict[str, tuple[str, ...]] = {}
    sent: dict[str, tuple[Any, ...]] = {}
    for name, told in said.items():
        for fact, record in sorted(told, key=lambda one: one[1]["kind"] != "claim-opened"):
            _tell(fact, record, claims.setdefault(name, {}), sent)
            _list_files(fact, record, files)
    return {"claims": claims, "files": files, "sent": sent, "modes": modes, "terms": terms}


def _tell(fact: Fact, record: dict[str, Any], claim: dict[str, Any], sent: dict[str, tuple[Any, ...]]) -> None:
    match record["kind"]:
        case "claim-opened":
            claim.update({name: record.get(name) for name in COPIED}, state="open", opened_ms=fact.at_ms)
            claim.update(serial=_plain(record.get("serial")), due_on=record.get("answer_by"), replacement=None)
            claim.update(imported="imported" in record, drilled_on=record.get("drilled", {}).get("on"))
            claim.update(reason=None, examined=None, decided=None, address=fact.address)
            claim.update(offset_min=_offset(record["at"]))
        case "claim-examined":
            claim["examined"] = fact.address
            claim["state"] = "examined" if claim["state"] in ("open", "sent-back") else claim["state"]
        case "claim-decided":
            state = STATES.get(record["decision"], record["decision"])
            claim.update(state=state, due_on=record.get("answer_by"), reason=record["reason"], decided=fact.address)
        case "claim-replaced":
            claim["replacement"] = record["unit"]
            old = claim["unit"], claim["serial"]
            ends = record["old_ball"], fact.address, _offset(record["at"])
            sent[record["claim"]] = record["unit"], *old, record["term"], *ends


def _list_files(fact: Fact, record: dict[str, Any], files: dict[str, tuple[str, ...]]) -> None:
    parts = [(part["digest"], part["what"]) for part in record.get("evidence", ())]
    if "letter" in record:
        parts.append((record["letter"], "reply"))
    for number, part in enumerate(parts):
        files[f"{fact.address}.{number}"] = record["claim"], *part


def _offset(at: str) -> int:
    """Minutes from UTC, by the last six characters."""
    minutes = int(at[-5:-3]) * 60 + int(at[-2:])
    return -minutes if at[-6] == "-" else minutes


def _plain(typed: str | None) -> str | None:
    try:
        return None if typed is None else parse_serial(typed)
    except MalformedSerial:
        return typed


def shown_claims(rows: Callable[[Any], list[Any]]) -> dict[str, Any]:
    """What the live rows show; ``rows`` gives all rows of a class."""
    claims = [msgspec.structs.asdict(row) for row in rows(Claim)]
    return {
        "claims": {claim.pop("claim"): claim for claim in claims},
        "files": {row.evidence: (row.claim, row.digest, row.what) for row in rows(ClaimEvidence)},
        "sent": {
            row.claim: (row.unit, row.old_unit, row.old_serial, row.term, row.old_ball, row.address, row.offset_min)
            for row in rows(Replacement)
        },
        "modes": {row.mode: (row.words, row.address) for row in rows(FailureMode)},
        "terms": {row.terms: row.digest for row in rows(WarrantyTermsRow) if not row.superseded},
    }
