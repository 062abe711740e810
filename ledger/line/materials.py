"""Material lots received and batches mixed from them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import hold_breaches, lineage_needs, stopping_holds
from ledger.line.lots import Draw, draw_breaches, enter_draws, enter_lot, fresh_lot, grams, known_lot
from ledger.line.plant_rules import RULES_NEED, rules_at
from ledger.line.record import At, DecimalText, Id, Kg, Name, On, Part, Record, SealedKg, Withheld
from ledger.line.rows import Lot
from ledger.line.state import Need, State


class OwnLot(Part, frozen=True, kw_only=True):
    """An own lot that a material lot is made of, such as regrind or stripped cores."""

    lot: Id
    amount: Annotated[int, Meta(ge=1, le=1_000_000_000, description="pieces, or grams of a material or batch")]


class MaterialReceived(Record, frozen=True, kw_only=True, tag="material-received"):
    """A drum or sack came in with the supplier's lot, or was made from own lots."""

    lot: Id
    material: Name
    kg: Kg
    supplier: Withheld | UnsetType = UNSET
    supplier_lot: Withheld | UnsetType = UNSET
    expires_on: On | UnsetType = UNSET
    density: DecimalText | UnsetType = UNSET
    from_lots: Annotated[tuple[OwnLot, ...], Meta(max_length=50)] | UnsetType = UNSET


class MaterialDraw(Part, frozen=True, kw_only=True):
    """Kilograms of one material lot or batch; the quantity is part of the recipe and sealed."""

    lot: Id
    kg: SealedKg


class BatchMixed(Record, frozen=True, kw_only=True, tag="batch-mixed"):
    """One mix of material lots. ``density`` is of the cured component, g/mL."""

    batch: Id
    compound: Name
    began_at: At
    mixer: Id
    draws: Annotated[tuple[MaterialDraw, ...], Meta(min_length=1, max_length=50)]
    density: DecimalText | UnsetType = UNSET


def _received_draws(record: MaterialReceived) -> list[Draw]:
    if record.from_lots is UNSET:
        return []
    return [Draw(own.lot, own.amount, "own", blended=True) for own in record.from_lots]


def _received_needs(record: MaterialReceived, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.lot)
    yield from lineage_needs([draw.parent for draw in _received_draws(record)], state)


def _received_check(record: MaterialReceived, state: State, _setting: Setting) -> list[Breach]:
    fresh_lot(state, record.lot)
    draws = _received_draws(record)
    for place, draw in enumerate(draws):
        known_lot(state, draw.parent, where=f"from_lots[{place}].lot")
    if record.density is not UNSET:
        scaled(record.density, 6)
    breaches: list[Breach] = []
    for draw in draws:
        holds = stopping_holds(state, "use", lot=draw.parent)
        breaches += hold_breaches(holds, node=f"lot:{record.lot}", what=f"{draw.parent} went into {record.lot}")
    return breaches + draw_breaches(state, draws, child=record.lot, at_ms=instant_ms(record.at))


def _received_effects(fact: Fact, state: State) -> None:
    record: MaterialReceived = fact.record  # type: ignore[assignment]  # the kind table pairs them
    enter_lot(
        fact,
        state,
        lot=record.lot,
        stage="material",
        made=grams(record.kg),
        material=record.material,
        expires_on=None if record.expires_on is UNSET else record.expires_on,
        density_micro=None if record.density is UNSET else scaled(record.density, 6),
    )
    enter_draws(fact, state, record.lot, _received_draws(record))


def _received_about(record: MaterialReceived) -> Iterable[str]:
    return [f"lot:{record.lot}", *(f"lot:{draw.parent}" for draw in _received_draws(record))]


def batch_draws(draws: Iterable[MaterialDraw]) -> list[Draw]:
    """What a batch takes from its materials: every piece holds all of them."""
    return [Draw(draw.lot, grams(draw.kg), f"material:{draw.lot}", blended=True) for draw in draws]


def _mixed_needs(record: BatchMixed, state: State) -> Iterator[Need]:
    yield Need(Lot, "lot", record.batch)
    yield RULES_NEED
    yield from lineage_needs([draw.lot for draw in record.draws], state)


def _mixed_check(record: BatchMixed, state: State, setting: Setting) -> list[Breach]:
    fresh_lot(state, record.batch)
    node = f"lot:{record.batch}"
    breaches: list[Breach] = []
    for place, draw in enumerate(record.draws):
        lot = known_lot(state, draw.lot, where=f"draws[{place}].lot", stages=("material", "batch"))
        breaches += hold_breaches(
            stopping_holds(state, "use", lot=draw.lot), node=node, what=f"{draw.lot} was mixed in"
        )
        breaches += expiry_breaches(lot, record.began_at, node=node, what="mixed")
    breaches += draw_breaches(state, batch_draws(record.draws), child=record.batch, at_ms=instant_ms(record.began_at))
    rules = rules_at(setting.index, state)
    if record.density is not UNSET and scaled(record.density, 6) > rules.density_cap_micro:
        source = f"set by fact {rules.address}" if rules.address else "limit quoted second-hand"
        said = f"component density {record.density} g/mL is above the cap of {rules.density_cap} g/mL ({source})"
        breaches.append(
            Breach(code="density-cap", node=node, said=said, mend="check the mix; scrap or dispose of the batch")
        )
    return breaches


def expiry_breaches(lot: Lot, began_at: str, *, node: str, what: str) -> list[Breach]:
    """The breach of a material used after its last day, by the date that the clock on the wall showed."""
    if lot.expires_on is None or began_at[:10] <= lot.expires_on:
        return []
    said = f"{lot.lot} expired on {lot.expires_on} and was {what} on {began_at[:10]}"
    return [
        Breach(code="expired", node=node, said=said, fact=lot.address, mend="use a lot in date, or dispose of it"),
    ]


def _mixed_effects(fact: Fact, state: State) -> None:
    record: BatchMixed = fact.record  # type: ignore[assignment]  # the kind table pairs them
    draws = batch_draws(record.draws)
    enter_lot(
        fact,
        state,
        lot=record.batch,
        stage="batch",
        made=sum(draw.amount for draw in draws),
        began=record.began_at,
        material=record.compound,
        density_micro=None if record.density is UNSET else scaled(record.density, 6),
    )
    enter_draws(fact, state, record.batch, draws)


def _mixed_about(record: BatchMixed) -> Iterable[str]:
    return [f"lot:{record.batch}", *(f"lot:{draw.lot}" for draw in record.draws)]


KINDS = (
    Kind(MaterialReceived, "report", _received_needs, _received_check, _received_effects, _received_about),
    Kind(BatchMixed, "report", _mixed_needs, _mixed_check, _mixed_effects, _mixed_about),
)
