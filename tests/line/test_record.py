"""Record types: their sealed fields, and what they take and refuse."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.line.corrections import Correction
from ledger.line.inspections import Inspection
from ledger.line.materials import BatchMixed, MaterialReceived
from ledger.line.record import Record, check_instants, sealed_fields, sealed_places
from ledger.line.shipments import Shipment
from ledger.line.vocabulary import KIND_OF, RECORD_OF, AnyRecord
from tests.line.making import at, material


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        (MaterialReceived, {"note": "erasable", "supplier": "withheld", "supplier_lot": "withheld"}),
        (BatchMixed, {"note": "erasable", "draws/*/kg": "withheld"}),
        (Shipment, {"note": "erasable", "consignee": "withheld"}),
        (Inspection, {"note": "erasable"}),
    ],
)
def test_sealed_fields_are_marked_in_the_type(kind: type[Record], fields: dict[str, str]) -> None:
    """Recipe quantities, suppliers and consignees may be withheld; free text may be erased."""
    assert fields == {"/".join(field.steps): field.sealing for field in sealed_fields(kind)}


SIZES = (
    *("diameter", "diameter_expanded", "shell_thickness", "shell_thickness_expanded"),
    *("block_volume_cm3", "block_volume_expanded_cm3", "density_expanded"),
)


def test_only_withheld_fields_reach_a_check() -> None:
    """Free text and people are erasable in every kind, and nothing else is sealed but what the trade keeps to itself."""
    withheld = {
        f"{tag}:{'/'.join(field.steps)}"
        for tag, kind in RECORD_OF.items()
        for field in sealed_fields(kind)
        if field.sealing == "withheld"
    }
    assert {
        "model-defined:recipe", "material-received:supplier", "material-received:supplier_lot", "batch-mixed:draws/*/kg",
        "blocks-moulded:batches/*/kg", "cores-poured:batches/*/kg", "shells-poured:colours/*/kg", "shipment:consignee",
        "consignee-registered:name", "consignee-registered:address", "shipment-imported:consignee",
        "approval-item-answered:fields/*/value", "approval-item-answered:statement", "approval-file-handed-over:to",
        "approval-change-reported:to",
    } | {f"model-defined:construction/*/{size}" for size in SIZES} == withheld  # fmt: skip
    erasable = {field.steps for kind in KIND_OF for field in sealed_fields(kind) if field.sealing == "erasable"}
    assert {("note",), ("claimant",), ("contact",), ("drilled", "by"), ("to",), ("refused", "*", "said")} == erasable


def test_the_sealed_places_of_a_correction_are_those_of_its_replacements() -> None:
    """Each by its own kind; a withdrawal has none."""
    said = {
        "changes": [
            {"fact": "1.0"},
            {"fact": "2.0", "replacement": {"kind": "material-received", "supplier": "a", "note": "b"}},
            {"fact": "3.0", "replacement": {"kind": "batch-mixed", "draws": [{"kg": "1"}, {"kg": "2"}]}},
        ]
    }
    places = {place.path: place.sealing for place in sealed_places(Correction, said)}
    assert {
        "changes/1/replacement/supplier": "withheld",
        "changes/1/replacement/note": "erasable",
        "changes/2/replacement/draws/0/kg": "withheld",
        "changes/2/replacement/draws/1/kg": "withheld",
    } == places


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("lot", "lower-case"),
        ("lot", "A" * 41),
        ("lot", "A\n"),
        ("kg", "1.0000"),
        ("kg", "01"),
        ("kg", "-1"),
        ("at", "2026-01-01T08:00:00Z"),
        ("clock_error_s", -1),
        ("supplier", ""),
        ("colour", "red"),
        ("note", None),
        ("kind", "drum-received"),
    ],
)
def test_what_is_out_of_form_is_not_read(field: str, value: Any) -> None:
    """Patterns, ranges, unknown fields and unknown kinds; optional means absent, never null."""
    said = {**msgspec.to_builtins(material("RESIN")), field: value}
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(msgspec.json.encode(said), type=AnyRecord)


@pytest.mark.parametrize("tag", sorted(RECORD_OF))
def test_every_kind_has_its_name_on_the_wire_once(tag: str) -> None:
    """Lower-case words joined by hyphens, and a docstring that says what it states."""
    kind = RECORD_OF[tag]
    assert (tag, True) == (kind.__struct_config__.tag, bool(kind.__doc__))
    assert set(tag) <= set("abcdefghijklmnopqrstuvwxyz-")


def test_instants_exist_in_the_calendar() -> None:
    """The pattern alone lets 30 February through."""
    check_instants(material("RESIN", at=at(59)))
    with pytest.raises(Exception, match="at: no such instant"):
        check_instants(material("RESIN", at="2026-02-30T08:00:00.000+00:00"))
