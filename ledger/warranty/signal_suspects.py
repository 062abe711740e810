"""What a signal suspects, in the words of a case: a lot, a mould set, a station, a week of pours."""

from __future__ import annotations

import hashlib

from msgspec import UNSET

from ledger.line.suspects import Suspect, SuspectSort
from ledger.warranty.members import Family

SORT_OF: dict[Family, SuspectSort] = {
    "block": "block-lot",
    "core": "core-lot",
    "shell": "shell-lot",
    "batch": "batch",
    "material": "material-lot",
    "mould": "mould",
    "station": "station",
    "week": "week",
}

_FAMILY_OF: dict[SuspectSort, Family] = {sort: family for family, sort in SORT_OF.items()}

_MOST = 32
"""Characters of a case id at most."""


def suspect_for(family: Family, name: str) -> Suspect:
    """What a case on a member suspects."""
    return Suspect(sort=SORT_OF[family], name=name)


def member_of(suspect: Suspect) -> tuple[Family, str] | None:
    """The member that a suspect stands for; None for one that no family has, or for a part of one."""
    family = _FAMILY_OF.get(suspect.sort)
    if family is None or suspect.name is UNSET or suspect.from_at is not UNSET or suspect.to_at is not UNSET:
        return None
    return family, suspect.name


def case_id(family: Family, name: str) -> str:
    """The id of the case that a signal opens; a digest stands for a name that is too long."""
    plain = f"SIG-{family.upper()}-{name}"
    if len(plain) <= _MOST:
        return plain
    return f"SIG-{family.upper()}-{hashlib.sha256(name.encode()).hexdigest()[:16].upper()}"
