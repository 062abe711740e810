"""Roles: one table of who may say which kind of record, and who may do what else.

A role is a hat, not a person: an account wears one or more.  Saying a record is named by the record's kind
(``ball-engraved``); everything else a caller may do is an *action* (``look-up``).  What is in neither table is allowed
to nobody.  Actions that need no account at all (the public page, checkpoints, proofs) have no row here.

It does not know whether a rule of the line stands against what is said: that is `ledger.line`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from ledger.errors import Forbidden

ROLES = ("station", "inspector", "quality", "desk", "auditor", "examiner", "admin")
"""Every role, from the line to the server room. ``examiner`` is from outside, and sees what a grant names alone."""

_LINE = frozenset({"station", "quality"})
_GAUGES = frozenset({"station", "inspector", "quality"})
_QUALITY = frozenset({"quality"})
_DESK = frozenset({"desk", "quality"})
_KEEPER = frozenset({"admin"})
_ANYONE = frozenset(ROLES) - {"examiner"}

MAY_SAY: Mapping[str, frozenset[str]] = {
    "book-opened": _KEEPER,
    "key-introduced": _KEEPER,
    "key-revoked": _KEEPER,
    "plant-rules-set": _QUALITY,
    "release-policy-set": _QUALITY,
    "model-defined": _QUALITY,
    "plan-set": _QUALITY,
    "approval-entered": _QUALITY,
    "approval-file-opened": _QUALITY,
    "approval-samples-announced": _QUALITY,
    "approval-samples-drawn": _QUALITY,
    "approval-sample-replaced": _QUALITY,
    "approval-item-answered": frozenset({"inspector", "quality"}),
    "approval-file-frozen": _QUALITY,
    "approval-file-signed": _QUALITY,
    "approval-file-handed-over": _QUALITY,
    "approval-file-answered": _QUALITY,
    "approval-change-found": _QUALITY,
    "approval-change-reported": _QUALITY,
    "approval-file-withdrawn": _QUALITY,
    "approval-file-reopened": _QUALITY,
    "rulebook-adopted": _QUALITY,
    "checklist-adopted": _QUALITY,
    "gauge-registered": frozenset({"inspector", "quality"}),
    "gauge-calibrated": frozenset({"inspector", "quality"}),
    "gauge-studied": frozenset({"inspector", "quality"}),
    "gauge-checked": _GAUGES,
    "gauge-faulted": _GAUGES,
    "material-received": _LINE,
    "batch-mixed": _LINE,
    "blocks-moulded": _LINE,
    "cores-poured": _LINE,
    "shells-poured": _LINE,
    "lot-worked": _LINE,
    "lot-changed": _LINE,
    "lot-split": _LINE,
    "lots-merged": _LINE,
    "pieces-lost": _GAUGES,
    "lot-recounted": _GAUGES,
    "lot-closed": _LINE,
    "temperature-logged": _GAUGES,
    "unit-started": _LINE,
    "unit-worked": _GAUGES,
    "serials-allotted": _LINE,
    "ball-engraved": _LINE,
    "ball-engraved-anew": _LINE,
    "inspection": _GAUGES,
    "sample-judged": frozenset({"inspector", "quality"}),
    "model-judged": frozenset({"inspector", "quality"}),
    "hold-placed": _GAUGES,  # whoever sees trouble may stop it; lifting is another matter
    "hold-lifted": _QUALITY,
    "concession": _QUALITY,
    "release": _QUALITY,
    "rework": _QUALITY,
    "regrade": _QUALITY,
    "scrap": _QUALITY,
    "shipment": _LINE,
    "returned": frozenset({"station", "desk", "quality"}),
    "restocked": _QUALITY,
    "consignee-registered": _DESK,
    "case-opened": _QUALITY,
    "case-ordered": _QUALITY,
    "case-noticed": _QUALITY,
    "case-answered": _DESK,
    "case-closed": _QUALITY,
    "claim-opened": _DESK,
    "claim-examined": _DESK,
    "claim-decided": _DESK,
    "claim-replaced": _DESK,
    "claim-replied": _DESK,
    "failure-mode-added": _QUALITY,
    "warranty-terms-adopted": _QUALITY,
    "ball-imported": _QUALITY,
    "shipment-imported": _LINE,
    "lines-imported": frozenset({"station", "desk", "quality"}),
    "examination-granted": _QUALITY,
    "examination-ended": frozenset({"quality", "admin"}),
    "examined": frozenset({"examiner"}),  # by the service alone, before it answers
    "correction": _GAUGES,  # without quality, of what it said itself a moment ago: `ledger.application.said_undone`
    "recheck": frozenset({"quality", "admin"}),
    "erasure": frozenset({"quality", "admin"}),
    "name-erasure": frozenset({"quality", "admin"}),
    "blob-erasure": frozenset({"quality", "admin"}),
    "book-restored": _KEEPER,
}
"""Who may say which kind of record."""

MAY_DO: Mapping[str, frozenset[str]] = {
    "submit": _ANYONE - {"auditor"},
    "ask": _GAUGES,
    "allot": _LINE,
    "register": _LINE,
    "release": _QUALITY,
    "adopt": _QUALITY,
    "look-up": _ANYONE,
    "labels": _GAUGES,
    "conformity": frozenset({"inspector", "quality", "auditor"}),
    "mass-check": _QUALITY,  # it tells of withheld sizes
    "warranty": _DESK,
    "claims": frozenset({"desk", "quality", "auditor"}),
    "signals": frozenset({"inspector", "quality", "desk", "auditor"}),
    "cases": frozenset({"desk", "quality", "auditor"}),
    "shipments": frozenset({"station", "desk", "quality"}),  # what leaves, and what came back: by the kinds
    "contain": _QUALITY,
    "case-answers": _DESK,
    "approvals": frozenset({"inspector", "quality", "auditor"}),
    "approval-work": _QUALITY,
    "dossier": frozenset({"quality", "auditor"}),
    "log-temperature": _GAUGES,
    "import": frozenset({"station", "desk", "quality"}),  # which lines, by the kinds that they become
    "send-blob": frozenset({"station", "inspector", "quality", "desk"}),
    "read-blob": frozenset({"inspector", "quality", "desk", "auditor"}),
    "entries": frozenset({"quality", "auditor", "admin"}),  # whole entries carry recipe quantities in their openings
    "stations": _GAUGES,
    "accounts": _KEEPER,
    "devices": frozenset({"quality", "admin"}),
    "own-account": _ANYONE | {"examiner"},
    "examine": frozenset({"examiner"}),
    "examinations": frozenset({"quality", "auditor", "admin"}),
    "metrics": _KEEPER,
}
"""Who may do what else."""


def check_may_say(roles: Collection[str], kind: str) -> None:
    """Return if one of ``roles`` may say records of ``kind``; raises Forbidden, naming the roles that may."""
    _check(roles, MAY_SAY.get(kind, frozenset()), f"this account may not say {kind}", where="kind")


def check_may_do(roles: Collection[str], action: str) -> None:
    """Return if one of ``roles`` may do ``action``; raises Forbidden, naming the roles that may."""
    _check(roles, MAY_DO.get(action, frozenset()), f"this account may not do this ({action})", where="")


def check_roles(roles: Collection[str]) -> None:
    """Return if ``roles`` are known and at least one; raises Forbidden for any other, since nothing could be done."""
    unknown = sorted(set(roles) - set(ROLES))
    if unknown or not roles:
        raise Forbidden(
            "account needs known roles",
            expected="one or more of " + ", ".join(ROLES),
            got=", ".join(unknown) or "none",
            where="roles",
        )


def _check(roles: Collection[str], allowed: frozenset[str], problem: str, *, where: str) -> None:
    if allowed.isdisjoint(roles):
        wanted = ", ".join(role for role in ROLES if role in allowed) or "no role at all"
        raise Forbidden(
            problem,
            expected=wanted,
            got=", ".join(roles) or "no role",
            where=where,
            mend=f"use an account with the role {wanted.replace(', ', ' or ')}" if allowed else "",
        )
