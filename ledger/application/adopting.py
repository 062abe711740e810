"""Adopting a rulebook, a checklist or warranty terms of the plant's own: the file is checked and stored first, then its adoption is said.

So an adoption never names a file that is not durable here.  The same file again, while it is in force, is answered with
the entry by which it is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, TypeVar

from ledger.application.said_before import said_before
from ledger.book.instant import Instant, format_instant
from ledger.conformity.checklist import Checklist, parse_checklist, shipped_checklists
from ledger.conformity.rulebook import rulebook_digest
from ledger.conformity.shelf import read_own_rulebook
from ledger.errors import MalformedRulebook
from ledger.line.checklists import ChecklistAdopted
from ledger.line.models import RulebookAdopted
from ledger.line.record import Record
from ledger.line.warranty_terms import WarrantyTermsAdopted
from ledger.store.blobs import put_blob
from ledger.store.engine import Store
from ledger.store.reader import open_reader

T = TypeVar("T")

TOML_TYPE = "application/toml"


class Adoption(NamedTuple):
    """A file that is fit to be adopted, and the record that says so. ``node`` is what the record is about."""

    id: str
    digest: str
    record: Record
    node: str

    @property
    def kind(self) -> str:
        """The kind of the record."""
        return str(type(self.record).__struct_config__.tag)


def rulebook_adoption(raw: bytes, at_ms: int) -> Adoption:
    """The adoption of a rulebook file. Raises MalformedRulebook, which names the line and the mend."""
    edition = _with_mend(lambda: read_own_rulebook(raw), "`pourbook rulebook check` names the same line")
    name = edition.rulebook.id
    record = RulebookAdopted(at=format_instant(Instant(at_ms, 0)), rulebook=name, digest=edition.digest)
    return Adoption(name, edition.digest, record, f"rulebook:{name}")


def checklist_adoption(raw: bytes, at_ms: int) -> Adoption:
    """The adoption of a checklist file. Raises MalformedRulebook, which names the line and the mend."""
    name = _with_mend(lambda: _own_checklist(raw), "GET /checklists shows one that is well formed").id
    digest = rulebook_digest(raw)
    record = ChecklistAdopted(at=format_instant(Instant(at_ms, 0)), checklist=name, digest=digest)
    return Adoption(name, digest, record, f"checklist:{name}")


def store_adoption(store: Store, adoption: Adoption, raw: bytes, *, key: str, author: str) -> tuple[Record, ...] | int:
    """Store the file, durably; what is left to be said under the key, or the entry by which the file is in force already.

    Raises KeyReused.
    """
    put_blob(store, raw, TOML_TYPE)
    wanted = [_file_of(adoption.record)]
    with open_reader(store) as reader:
        said = said_before(reader, author, key, lambda records: [_file_of(record) for record in records] == wanted)
        facts = reader.facts_about(adoption.node)
    if said is None and facts and [_file_of(facts[-1].record)] == wanted:
        return facts[-1].index
    return said or (adoption.record,)


def _file_of(record: Record) -> tuple[str, str, str]:
    if isinstance(record, RulebookAdopted):
        return "rulebook", record.rulebook, record.digest
    if isinstance(record, WarrantyTermsAdopted):
        return "warranty-terms", record.terms, record.digest
    return ("checklist", record.checklist, record.digest) if isinstance(record, ChecklistAdopted) else ("", "", "")


def _own_checklist(raw: bytes) -> Checklist:
    checklist = parse_checklist(raw)
    if checklist.id in shipped_checklists():
        raise MalformedRulebook(
            f"id {checklist.id} is that of a checklist that ships",
            expected="an id of the plant's own",
            got=checklist.id,
            where="checklist",
            mend="give the plant's checklist another id",
        )
    return checklist


def _with_mend(read: Callable[[], T], hint: str) -> T:
    """What ``read`` gives; a refused file without a mend of its own gets one."""
    try:
        return read()
    except MalformedRulebook as error:
        if error.mend:
            raise
        mend = f"correct {error.where or 'the file'} and send it again; {hint}"
        raise MalformedRulebook(
            error.problem, expected=error.expected, got=error.got, where=error.where, mend=mend
        ) from error
