"""Warranty terms that the plant works by: which file, by digest. What the terms say is not the line's matter."""

from __future__ import annotations

import msgspec

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction
from ledger.line.claim_rows import WarrantyTermsRow
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Digest, Record, Slug
from ledger.line.state import Need, State


class WarrantyTermsAdopted(Record, frozen=True, kw_only=True, tag="warranty-terms-adopted"):
    """The desk answers by these terms from now on; earlier ones of the same name are superseded."""

    terms: Slug
    digest: Digest


def _needs(record: WarrantyTermsAdopted, _state: State) -> list[Need]:
    return [Need(WarrantyTermsRow, "terms", record.terms), Need(WarrantyTermsRow, "digest", record.digest)]


def _check(record: WarrantyTermsAdopted, state: State, _setting: Setting) -> list[Breach]:
    for row in state.where(WarrantyTermsRow, "digest", record.digest):
        if row.terms != record.terms:
            raise Contradiction(
                f"that file is adopted as terms {row.terms}",
                expected=row.terms,
                got=record.terms,
                where="terms",
                mend="use one name for one file",
            )
    return []


def _effects(fact: Fact, state: State) -> None:
    record: WarrantyTermsAdopted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for earlier in state.where(WarrantyTermsRow, "terms", record.terms):
        state.put(msgspec.structs.replace(earlier, superseded=True))
    state.put(
        WarrantyTermsRow(terms=record.terms, digest=record.digest, adopted_ms=instant_ms(record.at), superseded=False)
    )


KINDS = (
    Kind(WarrantyTermsAdopted, "decision", _needs, _check, _effects, lambda record: [f"warranty-terms:{record.terms}"]),
)
