"""Exact factors against NIST SP 811 (2008), appendix B.8, and limits printed in two units."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ledger.line.quantity import convert


@pytest.mark.parametrize(
    ("value", "unit", "other", "expected"),
    [
        # NIST SP 811 (2008), appendix B.8: pound (avoirdupois), exact.
        ("1", "lb", "kg", "0.45359237"),
        # The same table prints the ounce as 2.834952 E-02 kg; 1/16 lb exactly is 28.349523125 g.
        ("1", "oz", "g", "28.349523125"),
        ("16", "oz", "lb", "1"),
        # NIST SP 811 (2008), appendix B.8: inch and microinch, exact.
        ("1", "in", "mm", "25.4"),
        ("1", "uin", "um", "0.0254"),
        ("1000000", "uin", "in", "1"),
        ("50", "uin", "um", "1.27"),
        # SI Brochure, 9th edition, table 8: minute.
        ("1", "min", "s", "60"),
        # "15.19" on a box is 15 lb 3.04 oz: arithmetic.
        ("15.19", "lb", "oz", "243.04"),
    ],
)
def test_factors_are_exact(value: str, unit: str, other: str, expected: str) -> None:
    """Each published factor is met exactly, not nearly."""
    assert Fraction(expected) == convert(Fraction(value), unit, other)


def test_the_rounded_ounce_agrees_with_its_print() -> None:
    """NIST SP 811 (2008), appendix B.8 prints 2.834 952 E-02 kg for the ounce, seven digits."""
    assert f"{float(convert(Fraction(1), 'oz', 'kg')):.8f}" == "0.02834952"
