"""ledger.conformity.rulebook and requirement: strict files, exact limits, no overlaps."""

from __future__ import annotations

import datetime as dt
import hashlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.rulebook import MOST_REQUIREMENTS, parse_rulebook, rulebook_digest, shipped_rulebooks
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import MalformedRulebook
from tests.conformity.balls import HARDNESS, HEAD, rulebook


def test_a_sound_file_is_read_as_printed() -> None:
    """Limits keep their text and give exact numbers."""
    (only,) = rulebook(HARDNESS.replace('"73"', '"73.0"')).requirements
    assert (("73.0",), Fraction(73), None, ">= 73.0 Shore D") == (only.limits, only.low, only.high, only.limit_text)


EDGE = 'class_basis = "weighed", class_edge = "both in"'


@pytest.mark.parametrize(
    ("old", "new", "reason", "line"),
    [
        ('"hardness"\noperator', '"colour"\noperator', "quantity is unknown", 11),
        ('unit = "shore_d"', 'unit = "rockwell"', "unit is unknown", 14),
        ('unit = "shore_d"', 'unit = "in"', "another unit", 14),
        ('operator = ">="\n', "", "missing required field `operator`", 8),
        ('operator = ">="', 'operator = "=="', "Invalid enum value", 12),
        ('source = "plant standard"\n', "", "missing required field `source`", 8),
        ('source = "plant standard"', 'source = " "', "source is empty", 16),
        ('limits = ["73"]', "limits = [73]", "Expected `str`", 13),
        ('limits = ["73"]', 'limits = ["7e1"]', "no decimal text", 13),
        ('limits = ["73"]', 'limits = ["72", "73"]', "another number of limits", 13),
        ('limits = ["73"]', 'limits = ["73"]\ncolour = "red"', "unknown field `colour`", 14),
        ('operator = ">="\nlimits = ["73"]', 'operator = "range"\nlimits = ["73", "73"]', "not below", 13),
        ('clock = "manufacture"', 'clock = "birthday"', "Invalid enum value", 15),
        ('provenance = "read"', 'provenance = "hearsay"', "Invalid enum value", 17),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { min_class_lb = "13" }', "no edge rule", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { class_edge = "in" }', "no class", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { max_class_strict = true }', "strict edge and no class", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { min_class_lb = "-1" }', "class is negative", 15),
        (
            'unit = "shore_d"',
            f'unit = "shore_d"\nscope = {{ min_class_lb = "9", max_class_lb = "8", {EDGE} }}',
            "above",
            15,
        ),
        (
            'unit = "shore_d"',
            f'unit = "shore_d"\nscope = {{ min_class_lb = "8", max_class_lb = "8.0", max_class_strict = true, {EDGE} }}',
            "no weight lies between",
            15,
        ),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { kind = "House Ball" }', "word is out of form", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nscope = { finish = "shiny" }', "Invalid enum value", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nper = "crate"', "Invalid enum value", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nper = "component"', "quantity of a ball", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\neffect = "fine"', "Invalid enum value", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\ndefinition = "By Touch"', "word is out of form", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nmethod = { readings = 0 }', "below one", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nmethod = { delay_s = "-1" }', "condition is negative", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nmethod = { temperature_c = ["25", "21"] }', "ends before", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nmethod = { temperature_c = ["25"] }', "length 2", 15),
        ('unit = "shore_d"', 'unit = "shore_d"\nmethod = { humidity = "50" }', "unknown field `humidity`", 15),
        ('provenance = "read"', 'provenance = "read"\n[requirement.method]\nspacing_mm = "-6"', "negative", 19),
        ('provenance = "read"', 'provenance = "read"\n[requirement.scope]\nmin_class_lb = "x"', "no decimal text", 19),
        ('provenance = "read"', 'provenance = "read"\nscope.min_class_lb = "x"', "no decimal text", 18),
        (
            'quantity = "hardness"\noperator = ">="\nlimits = ["73"]\nunit = "shore_d"',
            'quantity = "static_imbalance"\noperator = "<="\nlimits = ["3"]\nunit = "oz"',
            "several meanings",
            11,
        ),
        (
            'quantity = "hardness"\noperator = ">="\nlimits = ["73"]\nunit = "shore_d"',
            'quantity = "component_density"\noperator = "<="\nlimits = ["3.8"]\nunit = "g_ml"\nper = "model"',
            "quantity of a component",
            15,
        ),
        ('unit = "shore_d"', 'unit = "shore_d"\nguard_r = "-1"', "negative", 15),
        (
            'unit = "shore_d"',
            'unit = "shore_d"\neffective_from = 2024-02-01\neffective_to = 2024-01-31',
            "ends before it begins",
            16,
        ),
    ],
)
def test_a_broken_file_is_refused_with_its_line(old: str, new: str, reason: str, line: int) -> None:
    """Each breach of the schema is named with the line that holds it, or the requirement's first line."""
    assert old in HARDNESS
    with pytest.raises(MalformedRulebook, match=reason) as caught:
        parse_rulebook(HEAD + HARDNESS.replace(old, new), "house.toml")
    assert f"house.toml line {line}" == caught.value.where


def test_the_line_named_belongs_to_the_requirement_at_fault() -> None:
    """An error in the second requirement is not blamed on the first."""
    second = HARDNESS.replace('id = "hardness"', 'id = "other"').replace("shore_d", "mm")
    with pytest.raises(MalformedRulebook) as caught:
        parse_rulebook(HEAD + HARDNESS + second, "f")
    assert caught.value.where == "f line 25"


def test_a_repeated_id_is_refused() -> None:
    """Two requirements of one name are refused, whatever they say."""
    with pytest.raises(MalformedRulebook, match="used twice"):
        rulebook(HARDNESS + HARDNESS.replace(">=", "<="))


def test_overlapping_dates_of_one_family_are_refused() -> None:
    """Two limits on the same side of one quantity by one clock must not be in force on one day."""
    first = HARDNESS + "effective_to = 2022-08-01\n"
    second = HARDNESS.replace('id = "hardness"', 'id = "later"').replace('"73"', '"78"')
    with pytest.raises(MalformedRulebook, match="overlap") as caught:
        rulebook(first + second + "effective_from = 2022-08-01\n")
    assert ("rulebook line 30", True) == (caught.value.where, "day before" in caught.value.mend)
    assert len(rulebook(first + second + "effective_from = 2022-08-02\n").requirements) == 2


def test_another_side_clock_or_scope_may_share_its_dates() -> None:
    """An upper limit, a limit by another clock and one for other balls stand beside each other."""
    upper = HARDNESS.replace('id = "hardness"', 'id = "upper"').replace(">=", "<=")
    clock = HARDNESS.replace('id = "hardness"', 'id = "clock"').replace("manufacture", "approval")
    scope = HARDNESS.replace('id = "hardness"', 'id = "scope"') + 'scope = { core = "symmetric" }\n'
    assert len(rulebook(HARDNESS + upper + clock + scope).requirements) == 4


def test_a_period_holds_both_its_ends() -> None:
    """The first and the last day are in force, the days around them are not."""
    (only,) = rulebook(HARDNESS + "effective_from = 2020-01-01\neffective_to = 2020-01-31\n").requirements
    days = [dt.date(2019, 12, 31), dt.date(2020, 1, 1), dt.date(2020, 1, 31), dt.date(2020, 2, 1)]
    assert [only.in_force(day) for day in days] == [False, True, True, False]


@pytest.mark.parametrize(
    "text",
    [b"", b"\xff", "format = 1", HEAD, HEAD + "requirement = []", "[" * 5000, "x = " + "[" * 5000, "x = " + "9" * 5000],
)
def test_what_is_no_rulebook_is_refused(text: bytes | str) -> None:
    """Bytes that are no rulebook give our error, nothing else."""
    with pytest.raises(MalformedRulebook):
        parse_rulebook(text)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (HEAD + HARDNESS.replace('operator = ">="', "operator = >="), "f line 12"),
        (HEAD.replace('id = "house"', 'id = "My House"') + HARDNESS, "f line 2"),
        (HEAD.replace('made_event = "engraving"', 'made_event = "birth"') + HARDNESS, "f line 6"),
        (HEAD + "colour = 1\n" + HARDNESS, "f line 7"),
        (HEAD.replace('edition = "1"\n', "") + HARDNESS, "f"),
    ],
)
def test_a_broken_head_or_text_is_refused_with_its_line(text: str, line: str) -> None:
    """What is no TOML, and what is wrong before the first requirement, is named by its line where it has one."""
    with pytest.raises(MalformedRulebook) as caught:
        parse_rulebook(text, "f")
    assert line == caught.value.where


def test_a_rulebook_has_not_more_requirements_than_can_be_compared() -> None:
    """Each is held against every other, so their number is bounded."""
    many = "".join(HARDNESS.replace('id = "hardness"', f'id = "h{number}"') for number in range(MOST_REQUIREMENTS + 1))
    with pytest.raises(MalformedRulebook, match="too many requirements"):
        parse_rulebook(HEAD + many)


def test_a_file_beyond_the_limit_is_refused() -> None:
    """The size is looked at before anything is read."""
    with pytest.raises(MalformedRulebook, match="too large"):
        parse_rulebook("#" * (LARGEST_FILE + 1))


@given(
    st.one_of(st.binary(max_size=200), st.text(max_size=200), st.text(max_size=20).map(lambda t: HEAD + HARDNESS + t))
)
def test_any_bytes_give_a_rulebook_or_our_error(text: bytes | str) -> None:
    """No bytes give any error but MalformedRulebook."""
    try:
        parsed = parse_rulebook(text)
    except MalformedRulebook:
        return
    assert parsed.id == "house"


def test_the_digest_is_that_of_the_file() -> None:
    """A rulebook is known by the SHA-256 of its bytes, and the shipped ones carry theirs."""
    assert hashlib.sha256(b"abc").hexdigest() == rulebook_digest(b"abc")
    for id, shipped in shipped_rulebooks().items():
        assert id == shipped.rulebook.id
        assert hashlib.sha256(shipped.raw).hexdigest() == shipped.digest
        assert shipped.rulebook == parse_rulebook(shipped.raw)
