"""Facts as the book knew them at an earlier place: with what corrections had made of them till then, and no later ones."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from ledger.line.corrections import Correction
from ledger.line.fact import Fact, parse_address
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.refold import ONCE
from ledger.line.rows import About, FactRow
from ledger.store.bodies import BodyReader
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

Place = tuple[int, int]
"""Entry and record."""


def facts_until(reader: Reader, nodes: Collection[str], until: Place) -> list[Fact]:
    """The facts that stood about the nodes once the record at ``until`` was entered, in address order.

    Those that were about a node and were corrected to be about another come too: who asks looks at their records. Cost:
    four queries, and the entries of these facts.
    """
    asked = [*nodes, *(f"{ONCE}{node}" for node in nodes)]
    abouts: list[About] = rows_with(reader, About, "node", asked)
    addresses = {row.address for row in abouts if (row.index, row.position) <= until}
    said_in = {address: address for address in addresses} | _corrections(reader, addresses, until)
    opened = BodyReader(reader.transaction.dialect).opened(
        reader.transaction, {parse_address(place)[0] for place in said_in.values()}
    )
    rows: list[FactRow] = rows_with(reader, FactRow, "address", addresses)
    found: list[Fact] = []
    for row in rows:
        index, position = parse_address(said_in[row.address])
        record: Any = opened[index].records[position]
        body = ""
        if isinstance(record, Correction):
            place = next(place for place, change in enumerate(record.changes) if change.fact == row.address)
            body, record = f"{said_in[row.address]}.{place}", record.changes[place].replacement
        if type(record) in PLAIN_KIND_OF:
            found.append(Fact(row.index, row.position, record, row.author, row.recorded_ms, (), body))
    return sorted(found, key=lambda fact: (fact.index, fact.position))


def _corrections(reader: Reader, addresses: Collection[str], until: Place) -> dict[str, str]:
    """The newest correction of each fact up to ``until``."""
    abouts: list[About] = rows_with(reader, About, "node", [f"fact:{address}" for address in addresses])
    rows: list[FactRow] = rows_with(reader, FactRow, "address", {about.address for about in abouts})
    corrections = {row.address for row in rows if row.kind == "correction"}
    found: dict[str, str] = {}
    for about in sorted(abouts, key=lambda about: (about.index, about.position)):
        if about.address in corrections and (about.index, about.position) <= until:
            found[about.node.removeprefix("fact:")] = about.address
    return found
