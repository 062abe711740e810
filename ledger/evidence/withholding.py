"""Which sealed fields a dossier leaves closed: named by their sealing, by a group of fields, or one by one.

A name is a sealing (``withheld``: recipes, suppliers, consignees; ``erasable``: people and notes), a group of `GROUPS`, or
the exact path of one field, ``12/0/note``: entry, record, and the way to it. What is left closed stays in its entry as its
digest, and the rest verifies all the same. An erased field is not opened by anybody.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from ledger.errors import MalformedRecord, NotFound
from ledger.line.erasure_rows import field_name

SEALINGS = ("withheld", "erasable")
"""Every sealed field has one of these."""

GROUPS = {
    "recipe": frozenset(
        {
            "recipe", "kg", "diameter", "diameter_expanded", "shell_thickness", "shell_thickness_expanded",
            "block_volume_cm3", "block_volume_expanded_cm3", "density_expanded", "statement",
        }
    ),
    "data-sheet": frozenset({"value"}),
    "suppliers": frozenset({"supplier", "supplier_lot"}),
    "consignees": frozenset({"consignee", "name", "address"}),
    "people": frozenset({"claimant", "contact", "by", "to"}),
    "notes": frozenset({"note", "said"}),
}  # fmt: skip
"""Groups of sealed fields by the last step of their path: sizes, quantities and statements of a recipe; what a data sheet
says to a body; who supplied; who bought; who claimed, drilled or was written to; free text."""

NAMES = (*SEALINGS, *GROUPS)
"""Every name but exact paths."""

FIELD_FORM = r"^(0|[1-9][0-9]{0,15})/[0-9]{1,4}(/[a-z0-9_]{1,40}){1,8}\Z"
"""What the exact path of a field looks like."""

_FIELD = re.compile(FIELD_FORM, re.ASCII)


class Withholding:
    """What is left closed: all that ``withhold`` names, but for what ``open`` names."""

    def __init__(self, withhold: Iterable[str] = SEALINGS, opened: Iterable[str] = ()) -> None:
        """Raise MalformedRecord for a name that is neither a sealing, a group nor the path of a field."""
        self._closed, self._opened = _checked(withhold, "withhold"), _checked(opened, "open")
        self._fields = {name for name in self._closed | self._opened if name not in NAMES}

    def covers(self, index: int, path: str, sealing: str) -> bool:
        """Whether a field of an entry is left closed; asked once of each field."""
        field = field_name(index, path)
        self._fields.discard(field)
        last = path.rpartition("/")[2]
        names = {sealing, field, *(group for group, steps in GROUPS.items() if last in steps)}
        return not names.isdisjoint(self._closed) and names.isdisjoint(self._opened)

    def check_met(self) -> None:
        """Return if every field named by its path was there. Raises NotFound naming the first that was not."""
        if self._fields:
            raise NotFound(
                f"no sealed field {min(self._fields)} is in this dossier",
                where="withhold",
                mend="name fields of its entries as entry/record/field, or a group: " + ", ".join(GROUPS),
            )


def _checked(names: Iterable[str], where: str) -> set[str]:
    found = set(names)
    for name in found - set(NAMES):
        if _FIELD.fullmatch(name) is None:
            expected = "one of " + ", ".join(NAMES) + ", or a field as entry/record/field"
            raise MalformedRecord("no such field or group of fields", expected=expected, got=name, where=where)
    return found
