"""Models, plans, approvals and adopted rulebooks: decisions, refused where they contradict what stands."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, MalformedLink, RuleStands, UnknownSubject
from ledger.line.corrections import Change, Correction
from ledger.line.models import KindStated, RulebookAdopted
from ledger.line.process_plan import Inspect, Window
from ledger.line.record import Record
from ledger.line.rows import Approval, Model, Plan, RulebookRow
from tests.line.independent_fold import check_views
from tests.line.making import RULEBOOK, SIZES, approval, at, model, plan, ready_plant


def test_a_new_revision_takes_the_place_of_the_old() -> None:
    """One row a model, at its latest revision."""
    plant = ready_plant()
    plant.submit(model(revision=2, core="asymmetric"))
    assert (2, "asymmetric") == (plant.row(Model, "ORBIT").revision, plant.row(Model, "ORBIT").core)


def test_a_plan_keeps_its_windows_and_an_approval_its_classes() -> None:
    """Plans and approvals are found by model."""
    plant = ready_plant()
    assert ["0.1"] == [row.plan for row in plant.tables.where(Plan, "model", "ORBIT")]
    assert ["14,15,16"] == [row.classes for row in plant.tables.where(Approval, "model", "ORBIT")]


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (model(), Contradiction, "revision"),
        (model(model="OTHER"), Contradiction, "gtin"),
        (model(model="OTHER", gtin="09521234000014"), MalformedLink, ""),
        (model(revision=2, kinds=(KindStated(kind="house", is_one=True),) * 2), Contradiction, "kinds[1].kind"),
        (model(revision=2, construction=(SIZES, SIZES)), Contradiction, "construction[1].weight_class"),
        (plan(model="NONE"), UnknownSubject, "model"),
        (approval(model="NONE"), UnknownSubject, "model"),
        (plan(windows=(Window(stage="block-rest", min_s=1), Window(stage="block-rest", min_s=2))), Contradiction, "windows"),
        (plan(windows=(Window(stage="block-rest", min_s=2, max_s=1),)), Contradiction, "windows[0]"),
        (plan(inspect=(Inspect(quantity="taste", every="unit"),)), UnknownSubject, "inspect[0].quantity"),
        (plan(inspect=(Inspect(quantity="mass", every="sample", n=3),)), Contradiction, "inspect[0]"),
        (plan(inspect=(Inspect(quantity="mass", every="sample", n=3, accept=1, reject=1),)), Contradiction, "inspect[0]"),
        (plan(inspect=(Inspect(quantity="component_density", every="unit"),)), Contradiction, "inspect[0].every"),
        (RulebookAdopted(at=at(2), rulebook="body-b", digest=RULEBOOK), Contradiction, "rulebook"),
    ],
)  # fmt: skip
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    plant = ready_plant()
    before = plant.tables.listed()
    with pytest.raises(error) as refusal:
        plant.submit(record)
    assert before == plant.tables.listed()
    assert where in getattr(refusal.value, "where", "")


def test_a_plan_said_late_leaves_no_adopted_rulebook_out() -> None:
    """It would free what was engraved since; one that adds a rulebook, or begins now or later, is taken."""
    plant = ready_plant()
    refusal = plant.refused(plan(at=at(5), rulebooks=("body-b",)), now=at(5, "08:01"))
    assert (RuleStands, "rulebooks", "body-b") == (type(refusal), refusal.where, refusal.got)
    assert "plan 0.1 of ORBIT names rulebook body-a" in refusal.problem
    plant.submit(plan(at=at(5), rulebooks=("body-b", "body-a")), now=at(6))
    # Nobody adopted body-b, so it has judged nothing.
    plant.submit(plan(at=at(5), rulebooks=("body-a",)), now=at(7))
    plant.submit(plan(at=at(8), rulebooks=()), now=at(8))
    plant.submit(plan(at=at(10), rulebooks=()), now=at(9))
    plant.submit(plan(at=at(9), rulebooks=("body-a",)), now=at(11))
    assert "rulebooks" == plant.refused(plan(at=at(9, "09:00"), rulebooks=()), now=at(11)).where
    check_views(plant)


def test_a_plan_that_dropped_a_rulebook_in_time_is_corrected_later() -> None:
    """What it left out when it was said stays left out."""
    plant = ready_plant()
    dropped = plant.submit(plan(at=at(5), rulebooks=()), now=at(5)).address
    fixed = plan(at=at(5), rulebooks=(), windows=())
    plant.submit(Correction(at=at(9), reason="typing", changes=(Change(fact=dropped, replacement=fixed),)))
    check_views(plant)


def test_a_later_edition_supersedes_the_earlier() -> None:
    """One edition of a rulebook is in force; going back to the first supersedes the second."""
    plant = ready_plant()
    for digest in ("c" * 64, RULEBOOK):
        plant.submit(RulebookAdopted(at=at(3), rulebook="body-a", digest=digest))
    rows = plant.tables.where(RulebookRow, "rulebook", "body-a")
    assert [(RULEBOOK, False), ("c" * 64, True)] == [(row.digest, row.superseded) for row in rows]


def test_a_model_states_kinds_and_finish_and_a_revision_states_them_anew() -> None:
    """What a model says of itself is in its row, yes and no apart; nothing of it carries over to the next revision."""
    plant = ready_plant()
    kinds = (KindStated(kind="urethane", is_one=True), KindStated(kind="house", is_one=False))
    plant.submit(model(revision=2, kinds=kinds, finish="polished", construction=(SIZES,)))
    row = plant.row(Model, "ORBIT")
    assert ('{"house":false,"urethane":true}', "polished") == (row.kinds, row.finish)
    assert SIZES.diameter not in repr(plant.tables.listed())
    plant.submit(model(revision=3))
    row = plant.row(Model, "ORBIT")
    assert ("{}", None) == (row.kinds, row.finish)
