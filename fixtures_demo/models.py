"""The three invented models: construction, GTIN, process plan, and how their balls come out.

GTINs are from GS1's range for examples, 952.  Windows are common practice, no source; the spreads are invented.
"""

from __future__ import annotations

from hashlib import sha256
from typing import NamedTuple

from fixtures_demo.days import FIRST, clock, told
from fixtures_demo.plant import BRAND
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.line.models import ApprovalEntered, ModelDefined, PlanSet, RulebookAdopted
from ledger.line.process_plan import Inspect, Window
from ledger.line.record import Record
from ledger.line.samples import ModelVerdict

RULEBOOK = "usbc-2026"

MINUTE, HOUR, DAY = 60, 3600, 86_400

WINDOWS = (
    Window(stage="block-demould", min_s=5 * MINUTE, max_s=9 * MINUTE),
    Window(stage="block-rest", min_s=24 * HOUR, max_s=21 * DAY),
    Window(stage="core-demould", min_s=30 * MINUTE, max_s=90 * MINUTE),
    Window(stage="core-rest", min_s=16 * HOUR, max_s=28 * DAY),
    Window(stage="shell-demould", min_s=4 * MINUTE, max_s=8 * MINUTE),
    Window(stage="final-cure", min_s=24 * HOUR, low_c="20", high_c="26"),
)

INSPECTED = ("mass", "circumference", "out_of_round", "hardness", "roughness", "rg_low", "rg_high", "top_weight")
"""What is read of every ball before its release."""

TESTED_ONCE = "pin_to_cg"
"""What is read of a few balls once per model."""


class DemoModel(NamedTuple):
    """A model and the middle of what its balls measure: lb above class, in, Shore D, uin."""

    model: str
    name: str
    gtin: str
    core: str
    colours: tuple[str, str]
    rg_low: float
    differential: float
    hardness: float
    roughness: float


MODELS = (
    DemoModel("THIMBLE", "Thimble", "09520123456788", "symmetric", ("Moss", "Barley"), 2.548, 0.034, 76.4, 34),
    DemoModel("GATEPOST", "Gatepost", "09521234543213", "asymmetric", ("Brick", "Slate"), 2.472, 0.0555, 75.6, 42),
    DemoModel("HAYBARN", "Haybarn", "09529876543219", "asymmetric", ("Plum", "Ash"), 2.502, 0.047, 77.0, 28),
)

MODEL_OF = {model.model: model for model in MODELS}

CLASSES = (14, 15, 16)


def model_records(model: DemoModel) -> tuple[Record, ...]:
    """A model, its plan, the answer of an invented body and a type test, as they stood before the first day."""
    at = told(clock(FIRST, "06:00"))
    defined = ModelDefined(
        at=at,
        model=model.model,
        name=model.name,
        brand=BRAND,
        gtin=model.gtin,
        revision=1,
        core=model.core,  # type: ignore[arg-type]  # one of the two words
        recipe=f"recipe of {model.name}, invented: block 40 parts filler, shell 100 to 62",
    )
    plan = PlanSet(
        at=at,
        model=model.model,
        windows=WINDOWS,
        inspect=(
            *(Inspect(quantity=quantity, every="unit") for quantity in INSPECTED),
            Inspect(quantity=TESTED_ONCE, every="model", n=5, accept=0),
        ),
        rulebooks=(RULEBOOK,),
    )
    approved = ApprovalEntered(
        at=at,
        model=model.model,
        body="demo-body",
        revision=1,
        status="approved",
        from_on="2025-03-14",
        classes=CLASSES,
    )
    tested = ModelVerdict(
        at=at,
        model=model.model,
        quantity=TESTED_ONCE,
        n=5,
        nonconforming=0,
        accepted=True,
        rests_on=sha256(f"type test of {model.name}, invented".encode()).hexdigest(),
    )
    return defined, plan, approved, tested


def rulebook_record() -> Record:
    """The rulebook edition that the plant judges by."""
    return RulebookAdopted(
        at=told(clock(FIRST, "06:00")), rulebook=RULEBOOK, digest=shipped_rulebooks()[RULEBOOK].digest
    )
