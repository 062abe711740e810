"""The sizes that a model's definition states: one construction a weight class, or one for all."""

from __future__ import annotations

import msgspec
import pytest
from msgspec.structs import replace

from ledger.errors import Contradiction
from ledger.line.construction import Construction, check_construction, construction_of
from tests.line.making import SIZES

FOURTEEN = replace(SIZES, weight_class=14, block_volume_cm3="880")


@pytest.mark.parametrize(
    ("stated", "weight_class", "found"),
    [
        ((), 15, None),
        ((FOURTEEN,), 15, None),
        ((FOURTEEN,), None, None),
        ((SIZES,), 15, SIZES),
        ((SIZES, FOURTEEN), 14, FOURTEEN),
        ((FOURTEEN, SIZES), 15, SIZES),
        ((FOURTEEN, SIZES), None, SIZES),
    ],
)
def test_a_class_has_its_own_construction_or_that_of_all(
    stated: tuple[Construction, ...], weight_class: int | None, found: Construction | None
) -> None:
    """Its own goes first; a class that none is stated for has none."""
    check_construction(stated)
    assert found == construction_of(stated, weight_class)


@pytest.mark.parametrize(("one", "named"), [(SIZES, "all classes"), (FOURTEEN, "14 lb")])
def test_a_class_is_stated_once(one: Construction, named: str) -> None:
    """Two of one class are refused with the class."""
    with pytest.raises(Contradiction, match=named) as refusal:
        check_construction((one, one))
    assert ("construction[1].weight_class", True) == (refusal.value.where, bool(refusal.value.mend))


@pytest.mark.parametrize("text", ["-1", "1e3", "01", "1.", "8.12345678"])
def test_a_size_is_a_plain_decimal(text: str) -> None:
    """No sign, no exponent, six places at most."""
    said = {**msgspec.to_builtins(SIZES), "diameter": text}
    with pytest.raises(msgspec.ValidationError, match="diameter"):
        msgspec.convert(said, Construction)
