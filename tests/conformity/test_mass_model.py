"""ledger.conformity.mass_model: mixtures, the ball's parts, and the comparison with the scale."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity import mass_model as mm
from ledger.conformity.estimate import Estimate, estimate
from ledger.errors import MalformedQuantity

DENSITIES = st.floats(0.1, 4)
SPLITS = st.lists(st.tuples(st.floats(0.01, 1), DENSITIES), min_size=1, max_size=5)


def density(value: float, u: float = 0.005, name: str = "density") -> Estimate:
    """A density."""
    return estimate(name, value, u, "g_ml")


def parts_of(split: list[tuple[float, float]]) -> list[mm.Part]:
    """Parts whose weights are made into fractions."""
    total = math.fsum(weight for weight, _ in split)
    return [mm.Part(f"part {i}", weight / total, density(rho)) for i, (weight, rho) in enumerate(split)]


def envelope(diameter: float = 8.5475, shell: float = 0.75, block: float = 600.0) -> mm.Envelope:
    """The ball of the reference vector."""
    return mm.Envelope(
        estimate("diameter", diameter, 0.002, "in"),
        estimate("shell thickness", shell, 0.01, "in"),
        estimate("block volume", block, 1.0, "cm3"),
    )


def ball(block_density: float = 1.90) -> mm.PredictedMass:
    """The ball of the reference vector, as its recipe says."""
    return mm.predicted_mass(envelope(), shell=density(1.19), core=density(1.18), block=density(block_density))


@given(SPLITS)
def test_a_mixture_lies_between_its_parts(split: list[tuple[float, float]]) -> None:
    """Neither rule leaves the range of the densities, and the harmonic one is never the higher."""
    parts = parts_of(split)
    lowest, highest = min(rho for _, rho in split), max(rho for _, rho in split)
    by_mass, by_volume = mm.density_by_mass(parts).value, mm.density_by_volume(parts).value
    assert lowest * (1 - 1e-9) <= by_mass <= by_volume * (1 + 1e-9)
    assert by_volume <= highest * (1 + 1e-9)


@given(SPLITS)
def test_both_rules_agree_on_one_mixture(split: list[tuple[float, float]]) -> None:
    """Mass fractions made into volume fractions give the same density."""
    by_mass = parts_of(split)
    volumes = mm.volume_fractions(by_mass)
    by_volume = [mm.Part(part.name, share, part.density) for part, share in zip(by_mass, volumes, strict=True)]
    assert mm.density_by_mass(by_mass).value == pytest.approx(mm.density_by_volume(by_volume).value)


@given(st.floats(8, 9), st.floats(0, 2), st.floats(0, 500))
def test_the_parts_fill_the_ball(diameter: float, shell: float, block: float) -> None:
    """Shell, core and block add up to the sphere, and with one density to its mass."""
    sizes = envelope(diameter, shell, block)
    parts = sizes.shell_volume.value + sizes.core_volume.value + block
    assert sizes.ball_volume.value == pytest.approx(parts)
    even = mm.predicted_mass(sizes, shell=density(1.2), core=density(1.2), block=density(1.2))
    assert even.total.value == pytest.approx(1.2 * parts)


@given(st.floats(13, 16.5))
def test_the_core_density_asked_for_gives_the_mass_wanted(pounds: float) -> None:
    """Predicted with the density found, the ball weighs what was wanted, in any unit."""
    wanted = estimate("wanted", pounds, 0, "lb")
    core = mm.core_density_for(envelope(), wanted=wanted, shell=density(1.19), block=density(1.9))
    made = mm.predicted_mass(envelope(), shell=density(1.19), core=density(core.value), block=density(1.9))
    assert made.total.in_unit("lb").value == pytest.approx(pounds)


def test_the_parts_doubts_do_not_simply_add_up() -> None:
    """A thicker shell leaves less core, so of the thickness only the difference of the densities is left in the total."""
    made = ball()
    [in_total] = [term for term in made.total.budget().terms if term.name == "shell thickness"]
    [in_shell] = [term for term in made.shell.budget().terms if term.name == "shell thickness"]
    assert in_total.contribution < 0.02 * in_shell.contribution


@given(st.floats(-1000, 1000))
def test_a_ball_agrees_exactly_within_the_expanded_uncertainty(gap: float) -> None:
    """Agreement, difference, factor and sentence say one thing."""
    made = ball()
    found = mm.compare_mass(made, estimate("scale", made.total.value + gap, 2.0, "g"))
    assert found.difference_g == pytest.approx(gap, abs=1e-9)
    assert found.expanded_g == pytest.approx(found.k * math.hypot(2.0, made.total.u))
    assert found.agrees == (abs(found.difference_g) <= found.expanded_g)
    assert ("within the" in found.sentence) == found.agrees
    assert (found.void_cm3 is not None) == (gap < 0 and not found.agrees)


@pytest.mark.parametrize(("share", "agrees"), [(0.999, True), (1.001, False), (-0.999, True), (-1.001, False)])
def test_the_edge_of_agreement_is_the_expanded_uncertainty(share: float, agrees: bool) -> None:  # noqa: FBT001  # as in the table
    """A thousandth of U on either side of it decides."""
    made = ball()
    edge = mm.compare_mass(made, estimate("scale", made.total.value, 2.0, "g")).expanded_g
    found = mm.compare_mass(made, estimate("scale", made.total.value + share * edge, 2.0, "g"))
    assert agrees == found.agrees


def test_a_light_ball_can_mean_a_void_or_a_wrong_block() -> None:
    """118 g too light, the core at 1.18, is a void of 100 cm3."""
    made = ball()
    found = mm.compare_mass(made, estimate("scale", made.total.value - 118, 1.0, "g"))
    assert not found.agrees
    assert found.void_cm3 == pytest.approx(100.0)
    assert "118 g below the recipe's, more than the" in found.sentence
    assert "a void of about 100 cm3, a block of a wrong (lighter) lot" in found.sentence


def test_a_heavy_ball_has_no_void() -> None:
    """What is too heavy is a wrong block lot or a density, and the sentence says so."""
    made = ball()
    found = mm.compare_mass(made, estimate("scale", made.total.value + 118, 1.0, "g"))
    assert (False, None) == (found.agrees, found.void_cm3)
    assert found.sentence.endswith("no void explains it")


def test_a_wrong_block_lot_shows() -> None:
    """A ball that was weighed right, against a recipe with the block of another lot, disagrees."""
    weighed = estimate("scale", 14.943, 0.005, "lb")
    assert (True, False) == tuple(mm.compare_mass(ball(rho), weighed).agrees for rho in (1.90, 2.10))


def test_agreement_says_which_void_may_not_show() -> None:
    """A comparison that finds nothing still says how much it could have missed."""
    found = mm.compare_mass(ball(), estimate("scale", ball().total.value, 1.0, "g"))
    assert found.sentence.endswith(f"a void of less than {found.expanded_g / 1.18:.0f} cm3 may not show")


@pytest.mark.parametrize(
    ("sizes", "reason"),
    [
        ((0.0, 0.75, 600.0), "diameter is impossible"),
        ((-8.5, 0.75, 600.0), "diameter is impossible"),
        ((8.5, 4.25, 600.0), "thicker than the ball's radius"),
        ((8.5, -0.1, 600.0), "shell thickness is negative"),
        ((8.5, 0.75, -1.0), "block volume is negative"),
        ((8.5, 0.75, 4000.0), "larger than what the shell leaves"),
    ],
)
def test_sizes_that_fit_no_sphere_are_refused(sizes: tuple[float, float, float], reason: str) -> None:
    """A recipe that no ball can have is refused with the reason."""
    with pytest.raises(MalformedQuantity, match=reason):
        envelope(*sizes)


def test_densities_and_masses_that_cannot_be_are_refused() -> None:
    """Nothing weighs nothing, and a density in kg/m3 is not taken for one in g/mL."""
    with pytest.raises(MalformedQuantity, match="density is impossible"):
        mm.predicted_mass(envelope(), shell=density(0.0), core=density(1.18), block=density(1.9))
    with pytest.raises(MalformedQuantity, match="another unit"):
        mm.predicted_mass(envelope(), shell=estimate("shell", 1190, 5, "kg/m3"), core=density(1.18), block=density(1.9))
    with pytest.raises(MalformedQuantity, match="scale is impossible"):
        mm.compare_mass(ball(), estimate("scale", 0.0, 1.0, "g"))
    with pytest.raises(MalformedQuantity, match="another unit"):
        mm.Envelope(
            estimate("diameter", 8.5, 0, "in"), estimate("shell", 0.75, 0, "in"), estimate("block", 36.6, 0, "in3")
        )


def test_a_wanted_mass_that_no_core_gives_is_refused() -> None:
    """Shell and block may weigh too much already, and there may be no core."""
    with pytest.raises(MalformedQuantity, match="weigh as much"):
        mm.core_density_for(
            envelope(), wanted=estimate("wanted", 8.0, 0, "lb"), shell=density(1.19), block=density(1.9)
        )
    full = envelope().core_volume.value + 600.0
    with pytest.raises(MalformedQuantity, match="no core"):
        mm.core_density_for(
            envelope(block=full), wanted=estimate("wanted", 15, 0, "lb"), shell=density(1.19), block=density(1.9)
        )


@pytest.mark.parametrize(
    ("fractions", "reason"),
    [((), "no parts"), ((0.3, 0.6), "do not add up"), ((1.2, -0.2), "outside 0 to 1"), ((math.nan,), "outside 0 to 1")],
)
def test_fractions_that_make_no_whole_are_refused(fractions: tuple[float, ...], reason: str) -> None:
    """A mixture has parts that add up to one."""
    parts = [mm.Part("part", fraction, density(1.2)) for fraction in fractions]
    for rule in (mm.density_by_mass, mm.density_by_volume, mm.volume_fractions):
        with pytest.raises(MalformedQuantity, match=reason):
            rule(parts)


@given(st.floats(5000, 8000), st.floats(0.1, 20))
def test_a_scale_in_pounds_finds_what_one_in_grams_does(grams: float, u: float) -> None:
    """The comparison is in grams, whatever unit the ball was weighed in."""
    pound = 453.59237
    one = mm.compare_mass(ball(), estimate("scale", grams, u, "g"))
    other = mm.compare_mass(ball(), estimate("scale", grams / pound, u / pound, "lb"))
    assert (one.difference_g, one.expanded_g) == pytest.approx((other.difference_g, other.expanded_g), abs=1e-6)
