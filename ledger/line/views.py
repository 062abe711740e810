"""How each view row is kept: its table, its key, the columns it is asked by, and the node whose fold it belongs to."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFile,
    ApprovalFreeze,
    ApprovalHandOver,
    ApprovalPart,
    ApprovalReply,
    ApprovalSample,
    ApprovalSignature,
)
from ledger.line.case_rows import Case, CaseAnswer, CaseHold, CaseNotice, Consignee
from ledger.line.claim_rows import Claim, ClaimEvidence, FailureMode, Replacement, WarrantyTermsRow
from ledger.line.erasure_rows import AccountName, ErasedBlob, ErasedField, ErasedName, FieldOpening, StoredBlob
from ledger.line.examination_rows import Examination
from ledger.line.import_rows import ImportedStretch, ImportedUnit
from ledger.line.making_rows import Made, UnitStep
from ledger.line.reading_rows import Calibration, Gauge, GaugeSet, GaugeStudy, GaugeUse, LotReading, Measured
from ledger.line.rows import (
    About,
    Allotment,
    Approval,
    Body,
    BookKey,
    BreachRow,
    ChecklistRow,
    Concession,
    Counter,
    Descent,
    FactRow,
    Hold,
    Lot,
    LotStep,
    Model,
    ModelJudged,
    Plan,
    PlantRules,
    ReleasePolicy,
    Row,
    RulebookRow,
    SampleJudged,
    SerialRow,
    Shipped,
    Told,
    Unit,
)
from ledger.line.temperature_rows import TemperatureLog


class View(NamedTuple):
    """How a row is kept: its table, key, the columns asked by, and the node whose fold it belongs to."""

    row: type[Row]
    table: str
    key: tuple[str, ...]
    lookups: tuple[str, ...]
    node: Callable[[Any], str]


def _fact(row: Any) -> str:
    return f"fact:{row.address}"


def _lot(row: Any) -> str:
    return f"lot:{row.lot}"


def _unit(row: Any) -> str:
    return f"unit:{row.unit}"


def _claim(row: Any) -> str:
    return f"claim:{row.claim}"


def _case(row: Any) -> str:
    return f"case:{row.case}"


def _approval(row: Any) -> str:
    return f"approval:{row.file}"


def _blob(row: Any) -> str:
    return f"blob:{row.digest}"


def _account(row: Any) -> str:
    return f"account:{row.account}"


VIEWS: tuple[View, ...] = (
    View(FactRow, "fact", ("address",), ("address", "kind"), _fact),
    View(About, "about", ("node", "index", "position"), ("node", "address"), _fact),
    View(BreachRow, "breach", ("breach",), ("breach", "node", "address", "code"), _fact),
    View(Model, "model", ("model",), ("model", "gtin"), lambda row: f"model:{row.model}"),
    View(Plan, "plan", ("plan",), ("plan", "model"), lambda row: f"model:{row.model}"),
    View(Approval, "approval", ("approval",), ("approval", "model"), lambda row: f"model:{row.model}"),
    View(RulebookRow, "rulebook", ("digest",), ("digest", "rulebook"), lambda row: f"rulebook:{row.rulebook}"),
    View(ChecklistRow, "checklist", ("digest",), ("digest", "checklist"), lambda row: f"checklist:{row.checklist}"),
    View(Lot, "lot", ("lot",), ("lot", "stage", "model"), _lot),
    View(LotStep, "lot_step", ("lot_step",), ("lot_step", "lot", "station"), _lot),
    View(Made, "made", ("made",), ("made", "lot", "line", "mould_set", "mixer"), _lot),
    View(Descent, "descent", ("descent",), ("descent", "child", "parent"), lambda row: f"lot:{row.child}"),
    View(Unit, "unit", ("unit",), ("unit", "lot", "serial"), _unit),
    View(UnitStep, "unit_step", ("unit_step",), ("unit_step", "unit", "station"), _unit),
    View(SerialRow, "serial", ("serial_row",), ("serial_row", "serial", "unit"), _unit),
    View(Measured, "measured", ("unit",), ("unit",), _unit),
    View(LotReading, "lot_reading", ("lot_reading",), ("lot_reading", "lot", "gauge"), _lot),
    View(TemperatureLog, "temperature_log", ("log",), ("log", "lot", "digest"), _lot),
    View(Allotment, "allotment", ("serial",), ("serial", "station"), lambda row: f"serial:{row.serial}"),
    View(Counter, "counter", ("counter",), ("counter",), lambda row: f"counter:{row.counter}"),
    View(Gauge, "gauge", ("gauge",), ("gauge",), lambda row: f"gauge:{row.gauge}"),
    View(Calibration, "calibration", ("calibration",), ("calibration", "gauge"), lambda row: f"gauge:{row.gauge}"),
    View(GaugeStudy, "gauge_study", ("study",), ("study", "gauge"), lambda row: f"gauge:{row.gauge}"),
    View(Hold, "hold", ("hold",), ("hold", "node"), lambda row: f"hold:{row.hold}"),
    View(Concession, "concession", ("concession",), ("concession", "node"), lambda row: row.node),
    View(SampleJudged, "sample_judged", ("sample",), ("sample", "lot"), _lot),
    View(ModelJudged, "model_judged", ("model_test",), ("model_test", "model"), lambda row: f"model:{row.model}"),
    View(GaugeSet, "gauge_set", ("gauge_set",), ("gauge_set", "gauge"), lambda row: f"gauge-set:{row.used}"),
    View(GaugeUse, "gauge_use", ("unit", "used", "address"), ("unit", "used"), _unit),
    View(Shipped, "shipped", ("shipped",), ("shipped", "shipment", "unit", "consignee"), _unit),
    View(Consignee, "consignee", ("consignee",), ("consignee", "market"), lambda row: f"consignee:{row.consignee}"),
    View(Case, "case", ("case",), ("case",), _case),
    View(
        Examination,
        "examination",
        ("examination",),
        ("examination", "account"),
        lambda row: f"examination:{row.examination}",
    ),
    View(CaseHold, "case_hold", ("case_hold",), ("case_hold", "case", "hold"), _case),
    View(CaseNotice, "case_notice", ("notice",), ("notice", "case", "consignee", "letter"), _case),
    View(CaseAnswer, "case_answer", ("answer",), ("answer", "case", "unit", "serial"), _case),
    View(Claim, "claim", ("claim",), ("claim", "serial", "unit", "replacement"), _claim),
    View(ClaimEvidence, "claim_evidence", ("evidence",), ("evidence", "claim", "digest"), _claim),
    View(Replacement, "replacement", ("claim",), ("claim", "unit", "old_unit", "old_serial"), _claim),
    View(FailureMode, "failure_mode", ("mode",), ("mode",), lambda row: f"mode:{row.mode}"),
    View(
        WarrantyTermsRow, "warranty_terms", ("digest",), ("digest", "terms"), lambda row: f"warranty-terms:{row.terms}"
    ),
    View(PlantRules, "plant_rules", ("scope", "from_size"), ("scope",), lambda row: f"rules:{row.scope}"),
    View(
        ReleasePolicy, "release_policy", ("address",), ("address", "scope"), lambda row: f"release-policy:{row.scope}"
    ),
    View(ErasedField, "erased_field", ("field",), ("field", "fact"), lambda row: f"fact:{row.fact}"),
    View(ErasedName, "erased_name", ("account",), ("account",), _account),
    View(ImportedUnit, "imported_unit", ("unit",), ("unit",), _unit),
    View(ImportedStretch, "imported_stretch", ("stretch",), ("stretch", "file"), lambda row: f"import:{row.file}"),
    View(ErasedBlob, "erased_blob", ("digest",), ("digest",), _blob),
    View(ApprovalFile, "approval_file", ("file",), ("file", "model"), _approval),
    View(
        ApprovalAnnouncement,
        "approval_announcement",
        ("announcement",),
        ("announcement", "file", "candidates"),
        _approval,
    ),
    View(ApprovalSample, "approval_sample", ("sample",), ("sample", "file", "unit"), _approval),
    View(ApprovalPart, "approval_part", ("part",), ("part", "file", "digest"), _approval),
    View(ApprovalFreeze, "approval_freeze", ("freeze",), ("freeze", "file", "digest"), _approval),
    View(ApprovalSignature, "approval_signature", ("signature",), ("signature", "file", "freeze"), _approval),
    View(ApprovalHandOver, "approval_hand_over", ("hand_over",), ("hand_over", "file"), _approval),
    View(ApprovalReply, "approval_reply", ("reply",), ("reply", "file", "letter"), _approval),
    View(ApprovalChange, "approval_change", ("change",), ("change", "file", "letter"), _approval),
    View(BookKey, "book_key", ("book_key",), ("book_key", "key_name", "purpose"), lambda row: f"key:{row.key_name}"),
)

TOLD = View(Told, "", ("node", "index", "position"), ("node",), lambda row: f"{row.node}")
BODY = View(Body, "", ("address",), ("address",), _fact)
FIELD_OPENING = View(FieldOpening, "", ("field",), ("field",), lambda row: f"field:{row.field}")
ACCOUNT_NAME = View(AccountName, "", ("account",), ("account",), _account)
STORED_BLOB = View(StoredBlob, "", ("digest",), ("digest",), _blob)

VIEW_OF: dict[type[Row], View] = {
    view.row: view for view in (*VIEWS, TOLD, BODY, FIELD_OPENING, ACCOUNT_NAME, STORED_BLOB)
}
