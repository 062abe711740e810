"""Who balls are sent to: shops, distributors, centres. A later registration of the same id revises it.

Name and address are sealed and may be withheld from a dossier; market and language are plain, for terms and letters.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import UNSET, UnsetType

from ledger.errors import UnknownSubject
from ledger.line.case_rows import Consignee
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Id, Record, Slug, Withheld
from ledger.line.state import Need, State


class ConsigneeRegistered(Record, frozen=True, kw_only=True, tag="consignee-registered"):
    """A consignee and where it is; ``address`` is its lines, with line ends between. ``market`` is one of the terms'."""

    consignee: Id
    name: Withheld
    market: Slug
    address: Withheld | UnsetType = UNSET
    language: Slug | UnsetType = UNSET


def known_consignee(state: State, consignee: str, *, where: str) -> Consignee:
    """The consignee of this id. Raises UnknownSubject."""
    row = state.one(Consignee, consignee)
    if row is None:
        raise UnknownSubject(
            f"consignee {consignee} is not in the book",
            where=where,
            mend="register it first (consignee-registered), or correct the id",
        )
    return row


def _needs(record: ConsigneeRegistered, _state: State) -> Iterator[Need]:
    yield Need(Consignee, "consignee", record.consignee)


def _check(_record: ConsigneeRegistered, _state: State, _setting: Setting) -> list[Breach]:
    return []


def _effects(fact: Fact, state: State) -> None:
    record: ConsigneeRegistered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Consignee(
            consignee=record.consignee,
            market=record.market,
            language=None if record.language is UNSET else record.language,
            address=fact.address,
        )
    )


KINDS = (
    Kind(ConsigneeRegistered, "decision", _needs, _check, _effects, lambda record: [f"consignee:{record.consignee}"]),
)
