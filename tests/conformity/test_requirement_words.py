"""ledger.conformity.requirement_words: a requirement in one line."""

from __future__ import annotations

import pytest

from ledger.conformity.requirement import Method, Scope
from ledger.conformity.requirement_words import method_words, requirement_words, scope_words
from ledger.conformity.rulebook import shipped_rulebooks
from tests.conformity.balls import requirement


def test_a_plain_limit_is_said_plainly() -> None:
    """What has nothing particular about it says nothing particular."""
    assert (
        "hardness >= 73 Shore D; each ball; every ball; "
        "by date of manufacture from the beginning until further notice; provenance read"
    ) == requirement_words(requirement())


@pytest.mark.parametrize(
    ("scope", "words"),
    [
        (Scope(), "every ball"),
        (Scope(drilled="undrilled", core="asymmetric"), "undrilled balls with an asymmetric core"),
        (
            Scope(min_class_lb="8.00", max_class_lb="10.00", class_basis="weighed", class_edge="both in"),
            "balls of at least 8.00 lb and at most 10.00 lb as weighed (both in)",
        ),
        (
            Scope(min_class_lb="10", min_class_strict=True, class_basis="nominal", class_edge="10 is out"),
            "balls of more than 10 lb by nominal class (10 is out)",
        ),
    ],
)
def test_a_scope_tells_its_balls(scope: Scope, words: str) -> None:
    """Strict edges are told from others."""
    assert words == scope_words(scope)


def test_a_method_tells_its_conditions() -> None:
    """Conditions of the body come before those of a standard."""
    method = Method(temperature_c=("21", "25"), delay_s="1", readings=5, statistic="median", standard="flat specimen")
    words = (
        "at 21 to 25 deg C, read within 1 s, 5 readings or more, their median, beyond the body's text: flat specimen"
    )
    assert (words, "no condition stated") == (method_words(method), method_words(Method()))


def test_every_shipped_limit_can_be_said() -> None:
    """Each line holds the limit as printed and the provenance, and a bar or a trigger says that it is one."""
    for edition in shipped_rulebooks().values():
        for one in edition.rulebook.requirements:
            words = requirement_words(one)
            assert one.limit_text in words
            assert words.endswith(f"provenance {one.provenance}")
            assert (one.effect == "limit") != any(sign in words for sign in ("a bar that", "a trigger that"))
