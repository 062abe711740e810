"""Every record kind of the book, by type and by name on the wire."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Union

from ledger.line.approval_kinds import APPROVAL_KINDS
from ledger.line.blob_erasures import BLOB_ERASURE
from ledger.line.corrections import CORRECTION, RECHECK
from ledger.line.erasures import ERASURE, NAME_ERASURE
from ledger.line.examinations import EXAMINATION_KINDS
from ledger.line.kind import Kind
from ledger.line.kinds import PLAIN_KINDS
from ledger.line.plant_rules import PLANT_RULES_SET
from ledger.line.record import Record
from ledger.line.release_policy import RELEASE_POLICY_SET
from ledger.line.restorations import BOOK_RESTORED

KINDS: tuple[Kind, ...] = (
    *PLAIN_KINDS,
    *APPROVAL_KINDS,
    *EXAMINATION_KINDS,
    PLANT_RULES_SET,
    RELEASE_POLICY_SET,
    CORRECTION,
    RECHECK,
    ERASURE,
    NAME_ERASURE,
    BLOB_ERASURE,
    BOOK_RESTORED,
)

KIND_OF: dict[type[Record], Kind] = {kind.record: kind for kind in KINDS}

RECORD_OF: dict[str, type[Record]] = {str(kind.record.__struct_config__.tag): kind.record for kind in KINDS}

if TYPE_CHECKING:
    AnyRecord = Record
else:
    AnyRecord: Any = Union[tuple(KIND_OF)]  # noqa: UP007  # a union made from the table
