"""What a signal suspects, and back from a suspect to the member."""

from __future__ import annotations

import pytest

from ledger.line.suspects import Suspect, check_suspect
from ledger.warranty.members import FAMILIES, Family
from ledger.warranty.signal_suspects import case_id, member_of, suspect_for


@pytest.mark.parametrize("family", FAMILIES)
def test_a_member_is_suspected_by_its_name(family: Family) -> None:
    """One suspect, which a case takes, and which leads back to the member."""
    name = "2027-W02" if family == "week" else "X-1"
    suspect = suspect_for(family, name)
    check_suspect(suspect)
    assert (family, name) == member_of(suspect)


def test_suspects_of_no_family() -> None:
    """A gauge, serials, and a station over a span, which is a part of one, lead to no member."""
    day = "2027-01-11T00:00:00.000+00:00"
    others = [
        Suspect(sort="gauge", name="G-1"),
        Suspect(sort="serials", serial_prefix="7Q"),
        Suspect(sort="station", name="L-1", from_at=day, to_at=day),
        Suspect(sort="station", name="L-1", to_at=day),
    ]
    assert [None] * 4 == [member_of(one) for one in others]


def test_ids_of_cases_fit_and_differ() -> None:
    """Plain where they fit in 32 characters, with a digest of the name where they do not; never the same for two."""
    long = "A" * 40
    ids = {case_id(family, name) for family in FAMILIES for name in (long, f"{long[1:]}B")}
    assert (2 * len(FAMILIES), True) == (len(ids), all(len(one) <= 32 for one in ids))
    assert "SIG-SHELL-SL-1" == case_id("shell", "SL-1")
    assert "SIG-WEEK-2027-W02" == case_id("week", "2027-W02")
