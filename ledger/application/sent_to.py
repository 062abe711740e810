"""Whom shipments went to, by the facts that say them: a name of the register, or the one that the shipment states."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET

from ledger.line.case_rows import Consignee
from ledger.line.consignees import ConsigneeRegistered
from ledger.line.imports import ShipmentImported
from ledger.line.rows import Body
from ledger.line.shipments import Shipment
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


def sent_to(reader: Reader, facts: Sequence[str]) -> dict[str, str]:
    """The consignee's name by the address of the shipment's fact; it is withheld from who may not see whole entries.

    Left out: one that is not told any more. Three queries.
    """
    records = _records(reader, facts)
    ids = {fact: str(record.to) for fact, record in records.items() if record.to is not UNSET}
    rows: list[Consignee] = rows_with(reader, Consignee, "consignee", sorted(set(ids.values())))
    said = {row.address: row.fact.record for row in rows_with(reader, Body, "address", [row.address for row in rows])}
    names = {
        row.consignee: record.name
        for row in rows
        if isinstance(record := said.get(row.address), ConsigneeRegistered) and isinstance(record.name, str)
    }
    return {
        **{fact: record.consignee for fact, record in records.items() if isinstance(record.consignee, str)},
        **{fact: names.get(consignee, consignee) for fact, consignee in ids.items()},
    }


def _records(reader: Reader, facts: Sequence[str]) -> dict[str, Shipment | ShipmentImported]:
    found = {row.address: row.fact.record for row in rows_with(reader, Body, "address", facts)}
    return {fact: record for fact, record in found.items() if isinstance(record, Shipment | ShipmentImported)}
