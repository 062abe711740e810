"""Mean and standard deviation against the certified values of NIST StRD, univariate summary statistics.

https://www.itl.nist.gov/div898/strd/univ/; certified values and data as other public test suites quote them.
Of its nine sets the three longest of whole numbers (PiDigits, Lottery, Lew) are left out: they show nothing more.
"""

from __future__ import annotations

import pytest

from ledger.conformity.uncertainty import mean_and_s
from tests.outside.metrology_vectors import vector

# Michelso.dat: speed of light in air, less 299 000 km/s.
MICHELSON = """
 850 740 900 1070 930 850 950 980 980 880 1000 980 930 650 760 810 1000 1000 960 960
 960 940 960 940 880 800 850 880 900 840 830 790 810 880 880 830 800 790 760 800
 880 880 880 860 720 720 620 860 970 950 880 910 850 870 840 840 850 840 840 840
 890 810 810 820 800 770 760 740 750 760 910 920 890 860 880 720 840 850 850 780
 890 840 780 810 760 810 790 810 820 850 870 870 810 740 810 940 950 800 810 870
"""
# Mavro.dat: filter transmittance, in hundred-thousandths.
MAVRO = """
 200180 200170 200180 200190 200180 200170 200150 200140 200150 200150 200170 200180 200180 200190 200190 200210
 200200 200160 200140 200130 200130 200150 200150 200160 200150 200140 200130 200140 200150 200140 200150 200160
 200150 200160 200190 200200 200200 200210 200220 200230 200240 200250 200270 200260 200260 200260 200270 200260
 200250 200240
"""


def alternating(middle: float, low: float, high: float) -> list[float]:
    """The 1001 values of NumAcc2 to 4: the middle one, then 500 times a low and a high one."""
    return [middle, *[low, high] * 500]


# The last column is the digits to which doubles hold the data themselves: 10 000 000.1 is not exact.
CERTIFIED = [
    pytest.param([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-15, id="NumAcc1"),
    pytest.param(alternating(1.2, 1.1, 1.3), 1.2, 0.1, 1e-14, id="NumAcc2"),
    pytest.param(alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-9, id="NumAcc3"),
    pytest.param(alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-7, id="NumAcc4"),
    pytest.param(
        [299 + int(text) / 1000 for text in MICHELSON.split()], 299.8524, 0.0790105478190518, 1e-12, id="Michelso"
    ),
    pytest.param([int(text) / 100_000 for text in MAVRO.split()], 2.001856, 0.000429123454003053, 1e-12, id="Mavro"),
]


@pytest.mark.parametrize(("values", "mean", "s", "within"), CERTIFIED)
def test_certified_values(values: list[float], mean: float, s: float, within: float) -> None:
    """Mean to 15 digits and standard deviation to as many as the data hold, cancellation or not."""
    found_mean, found_s = mean_and_s(values)
    assert mean == pytest.approx(found_mean, rel=1e-15)
    assert s == pytest.approx(found_s, rel=within)


def test_the_vector_of_numacc1() -> None:
    """Three values near ten million; vector strd-numacc1."""
    inputs, expected, within = vector("strd-numacc1")
    mean, s = mean_and_s(inputs["y"])
    assert (expected["mean"], expected["sd"]) == (pytest.approx(mean, rel=within), pytest.approx(s, rel=within))
