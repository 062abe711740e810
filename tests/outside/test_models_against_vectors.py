"""Measurement and mass models against the reference vectors of mass properties, and against a simulation.

Sources are named in each vector: geometry, the parallel-axis theorem, the torsion pendulum, the rule of mixtures.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from ledger.conformity import mass_model as mm
from ledger.conformity import measurement_models as models
from ledger.conformity.estimate import Estimate, estimate
from tests.outside.metrology_vectors import vector


def exact(value: float, unit: str) -> Estimate:
    """A value without doubt."""
    return estimate("value", value, 0, unit)


def rg_of(inertia: float, mass: float) -> Estimate:
    """The RG that a pendulum finds for a body of that inertia (lb in2) and mass (lb): T^2 is linear in I."""
    set_up = models.TorsionSetUp(exact(100.0, "lb.in2"), exact(2.0, "s"), exact(0.6, "s"))
    period = math.sqrt(0.6**2 + inertia / 100.0 * (2.0**2 - 0.6**2))
    return models.radius_of_gyration(set_up, exact(period, "s"), exact(mass, "lb"))


def recipe() -> tuple[mm.Envelope, dict[str, Estimate]]:
    """Sizes and densities of the vectors' ball."""
    inputs, _, _ = vector("mass-budget-a")
    sizes = mm.Envelope(
        exact(inputs["diameter_in"], "in"),
        exact(inputs["shell_thickness_in"], "in"),
        exact(inputs["block_volume_cm3"], "cm3"),
    )
    return sizes, {part: exact(inputs[f"{part}_density"], "g_ml") for part in ("shell", "core", "block")}


def test_a_homogeneous_ball_has_its_textbook_radius() -> None:
    """I = 2/5 m R^2, so RG is 2.703 in at 8.5475 in; vector rg-uniform-sphere."""
    inputs, expected, within = vector("rg-uniform-sphere")
    found = [rg_of(0.4 * 15.0 * (diameter / 2) ** 2, 15.0).value for diameter in inputs["diameter_in"]]
    assert expected["rg_in"] == pytest.approx(found, abs=within)


def test_rg_from_torsion_periods() -> None:
    """The pendulum with tare, the empty period counted once: 2.46355 in, u 0.00254 in; vector rg-torsion."""
    inputs, expected, within = vector("rg-torsion")
    set_up = models.TorsionSetUp(
        estimate("reference inertia", inputs["I_ref_lb_in2"], inputs["u_Iref"], "lb.in2"),
        estimate("reference period", inputs["T_ref_s"], inputs["u_Tr"], "s"),
        estimate("empty period", inputs["T_empty_s"], inputs["u_T0"], "s"),
    )
    period = estimate("period", inputs["T_ball_s"], inputs["u_T"], "s")
    rg = models.radius_of_gyration(set_up, period, estimate("mass", inputs["m_lb"], inputs["u_m"], "lb"))
    assert expected["rg_in"] == pytest.approx(rg.value, abs=within)
    assert expected["u_rg_in"] == pytest.approx(rg.u, abs=within)


def test_a_differential_agrees_with_a_simulation() -> None:
    """200 000 drawn set-ups, each with both radii from it, scatter as the differential's u says (JCGM 101, in idea)."""
    inputs, _, _ = vector("rg-torsion")
    names = {
        "I": ("I_ref_lb_in2", "u_Iref"),
        "Tr": ("T_ref_s", "u_Tr"),
        "T0": ("T_empty_s", "u_T0"),
        "m": ("m_lb", "u_m"),
    }
    known = {key: (inputs[value], inputs[u]) for key, (value, u) in names.items()}
    units = {"I": "lb.in2", "Tr": "s", "T0": "s", "m": "lb"}
    made = {key: estimate(key, value, u, units[key]) for key, (value, u) in known.items()}
    set_up = models.TorsionSetUp(made["I"], made["Tr"], made["T0"])
    radii = [
        models.radius_of_gyration(set_up, estimate("period", value, inputs["u_T"], "s"), made["m"])
        for value in (1.961, 1.921)
    ]
    found = models.differential(*radii)

    draw = np.random.default_rng(20_260_101)
    drawn = {key: draw.normal(value, u, 200_000) for key, (value, u) in known.items()}
    k = drawn["I"] / (drawn["Tr"] ** 2 - drawn["T0"] ** 2) / drawn["m"]
    high, low = (
        np.sqrt(k * (draw.normal(value, inputs["u_T"], 200_000) ** 2 - drawn["T0"] ** 2)) for value in (1.961, 1.921)
    )
    assert found.value == pytest.approx(float(np.mean(high - low)), abs=5 * found.u / math.sqrt(200_000))
    assert found.u == pytest.approx(float(np.std(high - low)), rel=0.01)


def test_one_offset_has_four_imbalances() -> None:
    """12.0 oz.in, 2.82, 5.65 and 7.49 oz for 240 oz and 0.050 in; vector imbalance-a."""
    inputs, expected, within = vector("imbalance-a")
    mass, offset = exact(inputs["m_oz"], "oz"), exact(inputs["cg_offset_in"], "in")
    arm, radius = exact(inputs["arm_in"], "in"), exact(inputs["radius_in"], "in")

    def shown(definition: models.ImbalanceDefinition, length: Estimate) -> float:
        return models.static_imbalance(mass, offset, definition, length).value

    assert expected["moment_oz_in"] == pytest.approx(shown("moment", arm), abs=within)
    assert expected["imbalance_at_arm_oz"] == pytest.approx(shown("at_arm", arm), abs=within)
    assert expected["two_position_reading_difference_oz"] == pytest.approx(
        shown("two_position_difference", arm), abs=within
    )
    assert expected["hemisphere_mass_difference_oz"] == pytest.approx(
        shown("hemisphere_difference", radius), abs=within
    )


def test_cg_offset_from_three_axes() -> None:
    """The arm and the mass are shared by the three parts (GUM 5.1.2); vector cg-offset-3axis."""
    inputs, expected, within = vector("cg-offset-3axis")
    arm = estimate("arm", inputs["arm_in"], inputs["u_arm"], "in")
    mass = estimate("mass", inputs["m_oz"], inputs["u_m"], "oz")
    parts = [
        models.offset_from_imbalance(estimate(f"axis {i}", weight, inputs["u_oz"], "oz"), mass, "at_arm", arm)
        for i, weight in enumerate(inputs["imbalance_oz"])
    ]
    whole = models.distance_from_centre(parts)
    assert expected["cg_in"] == pytest.approx([part.value for part in parts], abs=within)
    assert expected["cg_abs_in"] == pytest.approx(whole.value, abs=within)
    assert expected["u_cg_abs_in"] == pytest.approx(whole.u, abs=within)


def test_the_mass_budget() -> None:
    """Sphere geometry: 5358.178 cm3 and 6778.198 g; vector mass-budget-a."""
    _, expected, within = vector("mass-budget-a")
    sizes, densities = recipe()
    made = mm.predicted_mass(sizes, **densities)
    found = {
        "ball_volume_cm3": sizes.ball_volume,
        "shell_volume_cm3": sizes.shell_volume,
        "core_volume_cm3": sizes.core_volume,
        "shell_g": made.shell,
        "core_g": made.core,
        "block_g": made.block,
        "total_g": made.total,
        "total_lb": made.total.in_unit("lb"),
    }
    assert expected == {name: pytest.approx(amount.value, rel=within) for name, amount in found.items()}


def test_the_core_density_for_fifteen_pounds() -> None:
    """1.19069 g/cm3; vector mass-budget-solve-core."""
    inputs, expected, within = vector("mass-budget-solve-core")
    sizes, densities = recipe()
    wanted = exact(inputs["target_lb"], "lb")
    core = mm.core_density_for(sizes, wanted=wanted, shell=densities["shell"], block=densities["block"])
    assert expected["core_density"] == pytest.approx(core.value, abs=within)


def test_an_offset_block_makes_a_differential() -> None:
    """The vectors' ball with a spherical block 0.8 cm off the centre; vector composite-rg.

    The inertias are by the parallel-axis theorem about the true CG, RG and differential by the pendulum's model.
    """
    _, expected, within = vector("composite-rg")
    sizes, densities = recipe()
    made = mm.predicted_mass(sizes, **densities)
    outer, inner = sizes.diameter.value * 1.27, (sizes.diameter.value - 1.5) * 1.27
    excess = (densities["block"].value - densities["core"].value) * sizes.block_volume.value
    block_radius = (3 * sizes.block_volume.value / (4 * math.pi)) ** (1 / 3)
    total = made.total.value
    centre = excess * 0.8 / total
    volumes = [4 / 3 * math.pi * radius**3 for radius in (outer, inner)]
    about_z = (
        0.4 * densities["shell"].value * (volumes[0] * outer**2 - volumes[1] * inner**2)
        + 0.4 * densities["core"].value * volumes[1] * inner**2
        + 0.4 * excess * block_radius**2
    )
    about_x = about_z + excess * 0.8**2 - total * centre**2
    to_lb, to_in = 1 / 453.59237, 1 / 2.54
    rg_z, rg_x = (rg_of(inertia * to_lb * to_in**2, total * to_lb) for inertia in (about_z, about_x))
    assert [expected["cg_z_cm"], expected["cg_z_in"]] == pytest.approx([centre, centre * to_in], abs=within)
    assert expected["rg_z_in"] == pytest.approx(rg_z.value, abs=within)
    assert expected["rg_x_in"] == pytest.approx(rg_x.value, abs=within)
    assert expected["differential_in"] == pytest.approx(models.differential(rg_x, rg_z).value, abs=within)


@pytest.mark.parametrize("id", ["mix-caco3", "mix-hollow-glass"])
def test_the_rule_of_mixtures(id: str) -> None:
    """Mass fractions harmonic, volume fractions arithmetic; vectors mix-caco3 and mix-hollow-glass."""
    inputs, expected, within = vector(id)
    filler = inputs["filler_mass_fraction"]
    resin = mm.Part("resin", 1 - filler, exact(inputs["resin_density"], "g_ml"))
    by_mass = [resin, mm.Part("filler", filler, exact(inputs["filler_density"], "g_ml"))]
    shares = mm.volume_fractions(by_mass)
    by_volume = [mm.Part(part.name, share, part.density) for part, share in zip(by_mass, shares, strict=True)]
    assert expected["density"] == pytest.approx(mm.density_by_mass(by_mass).value, rel=within)
    assert expected["filler_volume_fraction"] == pytest.approx(shares[1], rel=within)
    assert expected["density_from_volume_fractions"] == pytest.approx(mm.density_by_volume(by_volume).value, rel=within)
