"""What is typed at a station, read as records have it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from api.pages.stations.station_name import as_id
from api.pages.stations.typed import Typed, earlier
from ledger.errors import MalformedInput

BERLIN = ZoneInfo("Europe/Berlin")


def typed(**fields: str | list[str]) -> Typed:
    """A form with these fields, in a plant in Berlin."""
    return Typed({name: value if isinstance(value, list) else [value] for name, value in fields.items()}, BERLIN)


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("12", "12"),
        ("12.5", "12.5"),
        ("12,50", "12.50"),
        ("007.1", "7.1"),
        (",5", "0.5"),
        ("1 200", "1200"),
        ("0", "0"),
    ],
)
def test_kilograms_are_typed_with_point_or_comma(text: str, kg: str) -> None:
    """Leading zeros and spaces go, decimals stay as they were typed."""
    assert kg == typed(kg=text).kg("kg")


@pytest.mark.parametrize("text", ["", "-1", "1.2345", "1e3", "1,2,3", "x", "1" * 10])
def test_what_is_no_weight_is_refused(text: str) -> None:
    """The field is named, with its row where it stands in one."""
    with pytest.raises(MalformedInput) as refused:
        typed(kg=["1", text]).kg("kg", 1)
    assert "kg[1]" == refused.value.where


def test_times_are_of_the_plant_s_zone() -> None:
    """A browser's own field is read in the plant's zone, summer and winter; the first of an hour that comes twice counts."""
    for text, instant in (
        ("2027-03-04T09:30", "2027-03-04T09:30:00.000+01:00"),
        ("2027-07-04T09:30:15", "2027-07-04T09:30:15.000+02:00"),
        ("2027-10-31T02:30", "2027-10-31T02:30:00.000+02:00"),
        ("2027-03-04T09:30:00.250+05:00", "2027-03-04T09:30:00.250+05:00"),
        ("", ""),
    ):
        assert instant == typed(at=text).instant("at")
    assert "2027-03-04T09:05:00.000+01:00" == earlier("2027-03-04T09:30:00.000+01:00", 25)


def test_rows_are_those_with_something_in_them() -> None:
    """An empty row is left out, and one that is half filled in is there to be refused."""
    form = typed(batch=["a", "", ""], kg=["1", "", "2"])
    assert ([0, 2], "A", "") == (form.rows("batch", "kg"), form.id("batch", 0), form.row("batch", 9))


@pytest.mark.parametrize(("text", "count"), [("12", 12), ("0", 0)])
def test_counts(text: str, count: int) -> None:
    """Digits alone; nothing typed stands for what the form says."""
    assert (count, 7) == (typed(n=text).count("n"), typed().count("n", empty=7))


def test_a_name_becomes_an_id() -> None:
    """Capitals and digits, hyphens between; what has none of them is no name."""
    assert ["BENCH-2-SOUTH", "", "X"] == [as_id(name) for name in ("Bench 2 (south)", "–", "x")]


def test_what_belongs_to_one_sending_is_not_carried_on() -> None:
    """Key, instant and token stay out of an address."""
    form = typed(key="k", at="", form_token="t", clock_error_s="1", lot="A", kg=["1", "2"])
    assert [("lot", "A"), ("kg", "1"), ("kg", "2")] == form.pairs()
