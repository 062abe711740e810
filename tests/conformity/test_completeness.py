"""ledger.conformity.completeness: what is missing for a submission, counted class by class and said in sentences."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.checklist import parse_checklist, shipped_checklists
from ledger.conformity.completeness import (
    Answered,
    Asked,
    ClassCount,
    SampleBall,
    item_states,
    open_items,
    summary,
)

HEAD = """format = 1
id = "ours"
body = "Plant"
title = "For a customer"

[[item]]
provenance = "read"
source = "customer's sheet"
id = "one"
text = "One thing"
"""

BALLS = """balls = 2
classes = [12, 15]
quantities = ["mass", "hardness"]
"""

ALL = ("mass", "hardness")


def sample(name: str, weight_class: int, *quantities: str, unusable: tuple[str, ...] = ()) -> SampleBall:
    """A sample ball with measured quantities."""
    return SampleBall(
        ball=name, weight_class=weight_class, quantities=frozenset(quantities), unusable=frozenset(unusable)
    )


def missing(item: str, *samples: SampleBall, asked: Asked | None = None, **answered: object) -> tuple[str, ...]:
    """What is missing of a checklist with one item."""
    given = {"one": Answered(**answered)}  # type: ignore[arg-type]  # fields of an answer
    (state,) = item_states(parse_checklist(HEAD + item), samples, given, asked or Asked())
    assert state.met is not bool(state.missing)
    return state.missing


def test_balls_are_counted_class_by_class() -> None:
    """How many of how many are measured, what is missing on which ball, and how many are drawn."""
    found = missing(BALLS, sample("A", 12, *ALL), sample("B", 12, "mass"), sample("C", 15, *ALL))
    assert ("12 lb: 1 of 2 balls measured; hardness missing on B", "15 lb: 1 of 2 balls drawn") == found


def test_the_mark_of_an_axis_is_said_as_people_say_it() -> None:
    """As in: 3 of 5 balls measured, high-RG axis mark missing on two of them."""
    item = 'balls = 5\nclasses = [15]\nquantities = ["mark_to_high_axis", "pin_to_low_axis"]\n'
    both = ("mark_to_high_axis", "pin_to_low_axis")
    balls = [sample(name, 15, *both) for name in "ABC"]
    balls += [sample("D", 15, "pin_to_low_axis"), sample("E", 15)]
    assert (
        "15 lb: 3 of 5 balls measured; high-RG axis mark missing on D and E; pin to low-RG axis missing on E",
    ) == missing(item, *balls)


def test_a_reading_that_may_not_be_used_counts_as_none() -> None:
    """And is told apart from one that was never taken."""
    balls = sample("A", 12, "mass", unusable=("hardness",)), sample("B", 12, "hardness")
    found = missing(BALLS.replace("[12, 15]", "[12]"), *balls)
    assert ("12 lb: 0 of 2 balls measured; weight missing on B; hardness not usable on A",) == found


def test_an_item_is_about_the_first_balls_of_the_draw() -> None:
    """A ball drawn beyond the number does not stand in for one of the first that lacks a reading."""
    balls = sample("A", 12, *ALL), sample("B", 12), sample("C", 12, *ALL)
    one = BALLS.replace("[12, 15]", "[12]")
    assert ("12 lb: 1 of 2 balls measured; weight missing on B; hardness missing on B",) == missing(one, *balls)
    assert () == missing(one, balls[0], balls[2], balls[1])


@given(st.permutations(["A", "B", "C", "D", "E"]), st.sets(st.sampled_from("ABCDE")))
def test_only_the_first_of_the_order_decide(order: list[str], measured: set[str]) -> None:
    """An item of three balls is met exactly when the first three are measured."""
    item = 'balls = 3\nquantities = ["mass"]\n'
    found = missing(item, *(sample(name, 15, *(["mass"] if name in measured else [])) for name in order))
    assert (not found) is set(order[:3]).issubset(measured)


def test_a_number_that_nobody_stated_stays_open() -> None:
    """A checklist without numbers is never met: the plant has to write them in (rules row APP-SUBMIT-N)."""
    shipped = shipped_checklists()["usbc-submission"]
    (samples,) = (item for item in shipped.items if item.id == "samples")
    states = item_states(shipped, [sample("A", 15, *samples.quantities)])
    (found,) = (one for one in states if one.item == "samples")
    assert ["how many balls are wanted is not stated"] == [said.split(":")[0] for said in found.missing]
    assert {"samples", "fee"} <= set(open_items(states))


def test_a_class_without_a_number_is_said() -> None:
    """Where only some classes have one."""
    found = missing(BALLS.replace("balls = 2", "balls_of = {15 = 1}"), sample("C", 15, *ALL))
    assert (True, True) == (found[0].startswith("12 lb: how many balls"), found[1] == "12 lb: 0 of 1 balls drawn")


def test_every_class_that_is_applied_for_is_asked_for() -> None:
    """``each_class`` takes the classes of the file."""
    item = 'balls = 1\neach_class = true\nquantities = ["mass"]\n'
    asked = Asked(classes=(14, 16))
    assert ("16 lb: 0 of 1 balls drawn",) == missing(item, sample("A", 14, "mass"), asked=asked)


def test_an_item_for_another_core_does_not_apply() -> None:
    """It is met, and says that it does not apply."""
    item = 'core = "asymmetric"\ndocuments = ["axis sheet"]\n'
    assert () == missing(item, asked=Asked(core="symmetric"))
    assert ("axis sheet is missing",) == missing(item, asked=Asked(core="asymmetric"))


def test_papers_fields_photos_and_statements_are_looked_for_by_name() -> None:
    """Each that is not there is a sentence."""
    item = 'documents = ["sheet"]\nfields = ["core"]\nphotos = ["box"]\nstatement = "the recipe"\n'
    assert ("sheet is missing", "core is not stated", "the recipe is not stated", "photo box is missing") == missing(
        item
    )
    photos = frozenset({("box", None)})
    given = {"documents": frozenset({"sheet"}), "fields": frozenset({"core"})}
    assert () == missing(item, **given, photos=photos, statement=True)  # type: ignore[arg-type]  # fields of an answer


def test_a_photo_of_each_ball_is_of_the_balls_of_its_item() -> None:
    """Of every sample where no number is stated; many balls are counted and not all named."""
    item = 'photos = ["pin"]\nphotos_of = "ball"\n'
    balls = [sample(f"B{number}", 15) for number in range(9)]
    photos = frozenset({("pin", "B0")})
    assert ("photo pin missing of B1, B2, B3, B4, B5, B6 and 2 more",) == missing(item, *balls, photos=photos)
    assert ("photo pin missing of B1",) == missing("balls = 2\n" + item, *balls, photos=photos)
    assert ("0 of 1 balls drawn",) == missing(item)


def test_counts_and_a_summary_stand_beside_the_sentences() -> None:
    """Wanted, drawn and measured of each class; and all of it in one line."""
    states = item_states(parse_checklist(HEAD + BALLS), [sample("A", 12, *ALL), sample("B", 12)])
    assert (
        ClassCount(weight_class=12, wanted=2, drawn=2, measured=1),
        ClassCount(weight_class=15, wanted=2, drawn=0, measured=0),
    ) == states[0].counts
    assert "0 of 1 items met; 12 lb: 1 of 2 balls measured; weight missing on B; hardness missing on B" == summary(
        states
    )
    assert "0 of 0 items met" == summary(())
