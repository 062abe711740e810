"""The serial's check character against published values and an independent library."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from ledger.line.serial import SERIAL_COUNT, check_character, serial_at

VECTORS = Path(__file__).resolve().parents[3] / "shared" / "reference" / "vectors" / "iso7064.json"


def test_the_worked_example_gives_h() -> None:
    """Source: UK blood services guidelines, Annex 2, worked table of ISO/IEC 7064 MOD 37,2."""
    assert "H" == check_character("G123498654321")


def test_the_library_s_example_gives_y() -> None:
    """Source: python-stdnum documentation of stdnum.iso7064.mod_37_2."""
    assert "Y" == check_character("G123489654321")


@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=30))
def test_every_body_has_the_check_character_of_python_stdnum(body: str) -> None:
    """Source: python-stdnum, an independent implementation of MOD 37,2."""
    assert mod_37_2.calc_check_digit(body) == check_character(body)


@given(st.integers(0, SERIAL_COUNT - 1))
def test_every_serial_is_valid_to_python_stdnum(counter: int) -> None:
    """Source: python-stdnum; an allotted serial needs no knowledge of the scheme to be checked."""
    assert mod_37_2.is_valid(serial_at(counter, b"0123456789abcdef"))


def test_the_published_vectors_hold() -> None:
    """Sources are named in the vector file, beside each value."""
    if not VECTORS.exists():
        pytest.skip("the reference vectors are not beside the project")
    vectors = json.loads(VECTORS.read_text())
    cases = vectors["mod_37_2"] + vectors["derived_mod_37_2"]["items"]
    assert [case["check"] for case in cases] == [check_character(case["body"]) for case in cases]
