"""A model with a construction, and parts with densities, for tests of predicted masses. All figures are invented.

The sphere is 8.5 in across, 5269.344 cm3; the shell of 0.75 in takes 2326.319 of them, the block 900, the core 2043.025: with
the densities below 6780.233 g, or 14.94785 lb.
"""

from __future__ import annotations

from typing import Any

from tests.application.floor import GTIN, Floor, approval, at, cores, mixed, model, plan, shells

SIZES: dict[str, Any] = {
    "unit": "in",
    "diameter": "8.5",
    "diameter_expanded": "0.002",
    "shell_thickness": "0.75",
    "shell_thickness_expanded": "0.01",
    "block_volume_cm3": "900",
    "block_volume_expanded_cm3": "4",
    "density_expanded": "0.004",
}
DENSITIES = {"MIX": "2.1", "CORE": "1.05", "RED": "1.18"}


def revised(floor: Floor, *sizes: dict[str, Any], **fields: Any) -> None:
    """Revision 2 of the model, with a construction, approved and planned."""
    floor.say(
        model("M1", GTIN, revision=2, at=at(1), construction=list(sizes or (SIZES,)), **fields),
        approval("M1", revision=2, at=at(1)),
        plan("M1", at=at(1)),
    )


def batches(floor: Floor, **densities: str | None) -> None:
    """A drum; batches of it for blocks, cores and shells, each with a density unless it is None."""
    floor.say({"kind": "material-received", "at": at(1), "lot": "DRUM", "material": "resin", "kg": "5000"})
    for name, density in {**DENSITIES, **densities}.items():
        said = mixed(name, "DRUM", 400, 2)
        floor.say(said if density is None else {**said, "density": density})


def core_lot(lot: str, block_lot: str, count: int, batch: str = "CORE") -> dict[str, Any]:
    """Cores of one block lot and one batch."""
    return cores(lot, 30, (block_lot, count), batches=[{"lot": batch, "kg": "5"}])


def shell_lot(lot: str, *pieces: Any, **fields: Any) -> dict[str, Any]:
    """Shells of revision 2, in one colour."""
    colours = [{"colour": "red", "lot": "RED", "kg": "20"}]
    return shells(lot, 40, *pieces, **{"revision": 2, "colours": colours, **fields})
