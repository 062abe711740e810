"""Events of the facts about lots: received, mixed, poured, worked, logged, divided, lost, counted.

A lot that comes into being is a transformation of what it took, with the step ``commissioning``; a material that came in
is received.  Amounts of materials and batches that were drawn are the recipe: they are told only where they are opened.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from msgspec import UNSET

from ledger.evidence.event_facts import SaidFact
from ledger.evidence.event_names import Named, kilograms
from ledger.evidence.event_readings import elapsed_element, log_element, reading_elements
from ledger.evidence.event_shapes import (
    Action,
    Disposition,
    Event,
    Master,
    ObjectEvent,
    Quantity,
    Thing,
    TransformationEvent,
)
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import LotChanged, LotRecounted, LotsMerged, LotSplit, LotWorked, PiecesLost
from ledger.line.materials import BatchMixed, MaterialReceived
from ledger.line.moulding import BlocksMoulded, CoresPoured, Pour, ShellsPoured


def head(said: SaidFact, named: Named, subject: str, part: str = "") -> dict[str, Any]:
    """What every event of a fact says: its id, when it happened and was entered, and where it stands in the book."""
    return {
        "event_id": named.plant.event_id(said.where, subject, part),
        "event_time": said.record.at,
        "offset": said.record.at[-6:],
        "record_time": said.recorded_at,
        "record": named.plant.record(said.where),
    }


def at_place(named: Named, sort: str, name: str) -> Thing:
    """The station, line or mixer where it was done."""
    return Thing(id=named.plant.thing(sort, name))


def _received(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: MaterialReceived = said.record
    master = Master(
        material=record.material,
        expires_on=record.expires_on,
        supplier=said.opened("supplier", record.supplier),
        supplier_lot=said.opened("supplier_lot", record.supplier_lot),
    )
    made = (kilograms(named.lot(record.lot), record.kg),)
    common = {**head(said, named, subject), "disposition": "in_progress", "master": master}
    if record.from_lots is UNSET:
        return [ObjectEvent(**common, action="ADD", step="receiving", quantities=made)]
    inputs = tuple(named.amount(own.lot, own.amount) for own in record.from_lots)
    return [TransformationEvent(**common, step="commissioning", inputs=inputs, outputs=made)]


def _mixed(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: BatchMixed = said.record
    mixer = named.plant.thing("mixer", record.mixer)
    return [
        TransformationEvent(
            **head(said, named, subject),
            step="commissioning",
            disposition="in_progress",
            read_point=Thing(id=mixer),
            inputs=tuple(drawn(said, named, draw.lot, draw.kg, f"draws/{n}/kg") for n, draw in enumerate(record.draws)),
            outputs=(Quantity(epc_class=named.lot(record.batch)),),
            sensed=(elapsed_element(record.began_at, record.at, named.plant.term("step-time")),),
            master=Master(compound=record.compound, mixer=mixer),
        )
    ]


def drawn(said: SaidFact, named: Named, lot: str, kg: str, path: str) -> Quantity:
    """What was taken of a material or a batch: with its amount where that is opened."""
    address = named.lot(lot)
    opened = said.opened(path, kg)
    return Quantity(epc_class=address) if opened is UNSET else kilograms(address, opened)


def _poured(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: Pour = said.record
    plant = named.plant
    return [
        TransformationEvent(
            **head(said, named, subject),
            step="commissioning",
            disposition="in_progress",
            read_point=at_place(named, "line", record.line),
            inputs=_pour_inputs(said, named),
            outputs=(named.amount(record.lot, record.count),),
            sensed=(elapsed_element(record.began_at, record.at, plant.term("mould-time")),),
            master=Master(
                model=record.model,
                revision=record.revision if isinstance(record, ShellsPoured) else UNSET,
                weight_class=record.weight_class if isinstance(record, ShellsPoured) else UNSET,
                colours=tuple(one.colour for one in record.colours) if isinstance(record, ShellsPoured) else (),
                line=plant.thing("line", record.line),
                mould_set=plant.thing("mould-set", record.mould_set),
                mixer=plant.thing("mixer", record.mixer),
                rejects=record.rejects,
            ),
        )
    ]


def _pour_inputs(said: SaidFact, named: Named) -> tuple[Quantity, ...]:
    """Blocks or cores by their count, compounds by their weight; a lot that is drawn from twice stands twice."""
    record = said.record
    pieces = record.blocks if isinstance(record, CoresPoured) else ()
    pieces = record.cores if isinstance(record, ShellsPoured) else pieces
    field = "colours" if isinstance(record, ShellsPoured) else "batches"
    compounds = getattr(record, field)
    return (
        *(named.amount(piece.lot, piece.count) for piece in pieces),
        *(drawn(said, named, one.lot, one.kg, f"{field}/{n}/kg") for n, one in enumerate(compounds)),
    )


def _worked(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: LotWorked = said.record
    return [
        ObjectEvent(
            **head(said, named, subject),
            action="OBSERVE",
            quantities=(Quantity(epc_class=named.lot(record.lot)),),
            step=named.plant.term(record.step),
            disposition="in_progress",
            read_point=at_place(named, "station", record.station),
            sensed=(elapsed_element(record.began_at, record.at, named.plant.term("step-time")),),
        )
    ]


def _changed(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: LotChanged = said.record
    return [
        ObjectEvent(
            **head(said, named, subject),
            action="OBSERVE",
            quantities=(Quantity(epc_class=named.lot(record.lot)),),
            step=named.plant.term("changed"),
            disposition="in_progress",
            change=f"{record.what} to {record.to} after piece {record.count}",
        )
    ]


def _logged(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: TemperatureLogged = said.record
    return [
        ObjectEvent(
            **head(said, named, subject),
            action="OBSERVE",
            quantities=(Quantity(epc_class=named.lot(record.lot)),),
            step=named.plant.term("curing"),
            disposition="in_progress",
            sensed=(log_element(record, named.plant),),
            stage=record.stage,
        )
    ]


def _divided(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: LotSplit | LotsMerged = said.record
    parts = [(record.lot, record.count)] if isinstance(record, LotSplit) else [(p.lot, p.count) for p in record.lots]
    return [
        TransformationEvent(
            **head(said, named, subject),
            step="commissioning",
            disposition="in_progress",
            inputs=tuple(named.amount(lot, count) for lot, count in parts),
            outputs=(named.amount(record.into, sum(count for _, count in parts)),),
        )
    ]


_LOST: Mapping[str, tuple[tuple[Action, str, Disposition], ...]] = {
    "scrap": (("DELETE", "destroying", "destroyed"),),
    "destructive-test": (("OBSERVE", "sampling", "in_progress"), ("DELETE", "destroying", "destroyed")),
    "retained": (("OBSERVE", "sampling", "non_sellable_other"),),
    "other": (("DELETE", "decommissioning", "inactive"),),
}
"""How pieces go, as action, step and disposition: what is tested is sampled first, and its end follows."""


def ending_events(common: Callable[[str], dict[str, Any]], how: str, reason: str) -> list[Event]:
    """The events by which pieces or a ball end; ``common(part)`` gives the fields of the first and of the second."""
    return [
        ObjectEvent(
            **common("" if number == 0 else "end"), action=action, step=step, disposition=disposition, reason=reason
        )
        for number, (action, step, disposition) in enumerate(_LOST[how])
    ]


def _lost(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: PiecesLost = said.record
    pieces = (named.amount(record.lot, record.count),)
    return ending_events(
        lambda part: {**head(said, named, subject, part), "quantities": pieces}, record.how, record.reason
    )


def _recounted(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: LotRecounted = said.record
    return [
        ObjectEvent(
            **head(said, named, subject),
            action="OBSERVE",
            quantities=(named.amount(record.lot, record.left),),
            step="cycle_counting",
            disposition="in_progress",
            reason=record.reason,
        )
    ]


def _inspected(said: SaidFact, subject: str, named: Named) -> list[Event]:
    record: Inspection = said.record
    return [
        ObjectEvent(
            **head(said, named, subject),
            action="OBSERVE",
            quantities=(Quantity(epc_class=named.lot(str(record.lot))),),
            step="inspecting",
            read_point=at_place(named, "station", record.station),
            sensed=reading_elements(record, named.plant),
            surface=record.surface,
        )
    ]


LOT_EVENTS: Mapping[type, Callable[[SaidFact, str, Named], list[Event]]] = {
    MaterialReceived: _received,
    BatchMixed: _mixed,
    BlocksMoulded: _poured,
    CoresPoured: _poured,
    ShellsPoured: _poured,
    LotWorked: _worked,
    LotChanged: _changed,
    TemperatureLogged: _logged,
    LotSplit: _divided,
    LotsMerged: _divided,
    PiecesLost: _lost,
    LotRecounted: _recounted,
    Inspection: _inspected,
}
"""How each kind of record about a lot becomes events of the node named."""
