"""The sizes of a model's parts, as its definition states them: withheld, like a recipe.

An outer diameter, a shell of even thickness round the core, and a block in it.  Each with its expanded uncertainty U
(k = 2).  What they are for is in `ledger.conformity.mass_model`.  No view holds any of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction
from ledger.line.record import Part

Size = Annotated[
    str,
    Meta(
        pattern=r"^(0|[1-9][0-9]{0,6})(\.[0-9]{1,6})?\Z",
        description="decimal, not negative; sealed, may be withheld",
        extra={"sealed": "withheld"},
    ),
]


class Construction(Part, frozen=True, kw_only=True):
    """The sizes of a ball, with U (k = 2) of each.

    ``weight_class``: the class in pounds that it is of; without it, every class that no other states.  ``unit`` is that
    of the diameter and the thickness; the block's volume is in cm3 and "0" for a ball without one.
    ``density_expanded``: U (k = 2), in g/mL, of a component density that the book states without an uncertainty.
    """

    unit: Literal["in", "mm"]
    diameter: Size
    diameter_expanded: Size
    shell_thickness: Size
    shell_thickness_expanded: Size
    block_volume_cm3: Size
    block_volume_expanded_cm3: Size
    density_expanded: Size | UnsetType = UNSET
    weight_class: Annotated[int, Meta(ge=4, le=16)] | UnsetType = UNSET


def check_construction(stated: Sequence[Construction]) -> None:
    """Check that no weight class is stated twice. Raises Contradiction.

    The sizes themselves are not looked at: they may be withheld, and then whoever checks the book cannot see them.
    """
    classes = [one.weight_class for one in stated]
    for place, weight_class in enumerate(classes):
        if weight_class in classes[:place]:
            raise Contradiction(
                "construction of all classes is stated twice"
                if weight_class is UNSET
                else f"construction of {weight_class} lb is stated twice",
                where=f"construction[{place}].weight_class",
                mend="state one construction a weight class, and at most one without a class",
            )


def construction_of(stated: Sequence[Construction], weight_class: int | None) -> Construction | None:
    """The construction of a class: its own, else the one of every class; None where neither is stated."""
    found = {None if one.weight_class is UNSET else one.weight_class: one for one in stated}
    return found.get(weight_class, found.get(None))
