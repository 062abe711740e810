"""Control charts as a page: signals in words, the points as the JSON has them, groups, refusals."""

from __future__ import annotations

import csv
from collections.abc import Iterator

import pytest

from api.pages.limits.chart_pages import SIGNAL_WORDS, point_rows
from ledger.application.process_charts import GroupCharts, SignalSeen
from ledger.conformity.charts import Chart, Point
from ledger.conformity.run_rules import WORDS
from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.limits_plant import HARDNESSES, browser_of, limits_plant, text_of

ASKED = "quantity=hardness&subgroups=none"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The plant."""
    with limits_plant(tmp_path_factory.mktemp("charts")) as one:
        yield one


@pytest.fixture(scope="module")
def browser(service: Service) -> Iterator[Browser]:
    """The inspector's."""
    opened = browser_of(service, "inspector")
    yield opened
    opened.close()


def test_the_page_draws_nothing(browser: Browser) -> None:
    """The page has the form and a link to the answer."""
    page = browser.open(f"/limits/charts?{ASKED}")
    assert (200, False, True) == (page.status_code, "<img" in page.text, 'href="/limits/charts/answer?' in page.text)


def test_the_picture_has_words_beside(browser: Browser) -> None:
    """The picture is that of /charts.svg, and its text says centre and signals of both charts."""
    text = browser.open(f"/limits/charts/answer?{ASKED}").text
    assert 'src="/charts.svg?quantity=hardness&amp;subgroups=none&amp;group=all"' in text
    alt = text[text.index("alt=") :].partition(">")[0]
    assert "individual readings: centre 74.42 Shore D" in alt
    assert "moving range of 2: centre" in alt


def test_signals_and_limits_are_those_of_the_json(service: Service, browser: Browser) -> None:
    """Control limits and each signal's point, ball and rule are the answers of /charts."""
    words = text_of(browser.open(f"/limits/charts/answer?{ASKED}").text)
    asked = {"quantity": "hardness", "subgroups": "none"}
    [group] = service["auditor"].get("/charts", params=asked).json()["groups"]
    for chart in group["charts"]:
        last = chart["points"][-1]
        assert f"newest point {last['lower']:.2f} to {last['upper']:.2f} Shore D" in words
    for signal in group["signals"]:
        at = f"Point {signal['point']}, {signal['label']}: "
        assert SIGNAL_WORDS[signal["words"]] in words[words.index(at) :].partition(" Point ")[0]
    assert f"{len([one for one in group['signals'] if one['chart'] == 'individuals'])} signal" in words


def test_every_signal_has_words() -> None:
    """Each rule on each side is told in words of the page."""
    assert {WORDS[rule].format(side=side) for rule in WORDS for side in ("above", "below")} == set(SIGNAL_WORDS)


def test_the_points_as_a_table(browser: Browser) -> None:
    """Each reading in order of its instant, with its own limits."""
    answer = browser.open(f"/limits/charts/points.csv?{ASKED}")
    lines = list(csv.DictReader(line for line in answer.text.splitlines() if not line.startswith("#")))
    points = [line for line in lines if line["chart"] == "individual readings"]
    assert [float(value) for value in HARDNESSES] == [float(line["value"]) for line in points]
    assert [str(number) for number in range(1, 13)] == [line["point"] for line in points]
    assert all(float(line["lower"]) < float(line["centre"]) < float(line["upper"]) for line in points)


def test_several_groups_are_listed_first(browser: Browser) -> None:
    """Of stations the page tells readings and signals; one that is opened keeps a way back."""
    listed = browser.open(f"/limits/charts/answer?{ASKED}&by=station").text
    assert "<img" in listed  # one station alone is drawn at once
    alone = browser.open(f"/limits/charts/answer?{ASKED}&by=station&group=E1").text
    assert 'href="/limits/charts?quantity=hardness&amp;subgroups=none&amp;by=station"' in alone


def test_limits_of_a_rulebook_stand_beside(browser: Browser) -> None:
    """They are told with their provenance and not drawn."""
    words = text_of(browser.open(f"/limits/charts/answer?{ASKED}&rulebook=usbc-2026").text)
    assert "Limits of usbc-2026 beside, not drawn: usbc.hardness: >= 73 Shore D (limit read: read)" in words


@pytest.mark.parametrize(
    ("query", "status", "field"),
    [
        ("quantity=top_weight", 404, "quantity"),
        ("quantity=hardness&subgroups=week", 400, "subgroups"),
        ("quantity=hardness&subgroups=lot", 404, "quantity"),
        ("", 400, "quantity"),
    ],
)
def test_what_cannot_be_drawn_is_told(browser: Browser, query: str, status: int, field: str) -> None:
    """A refusal with the form, naming the field."""
    answer = browser.open(f"/limits/charts/answer?{query}")
    assert (status, True, True) == (answer.status_code, f"<code>{field}</code>" in answer.text, "<form" in answer.text)


def charted(ids: tuple[str, str], counts: tuple[int, int], earlier: int, signal: SignalSeen) -> GroupCharts:
    """Two charts with so many points handed out."""
    charts = tuple(
        Chart(
            id=id,
            name=id,
            centre=1.0,
            sigma=1.0,
            points=tuple(Point(f"L{number}", 1.0, 0.0, 2.0, 1) for number in range(count)),
            signals=(),
            first=2 if id == "moving_range" else 1,
        )
        for id, count in zip(ids, counts, strict=True)
    )
    return GroupCharts(group="all", readings=1, charts=charts, signals=(signal,), earlier=earlier)


def test_points_keep_their_numbers_where_earlier_ones_are_left_out() -> None:
    """A signal stands at its own point, whose number counts from the first of all; a range starts one later."""
    signal = SignalSeen("individuals", 8, "L2", 1, "beyond 3 sigma above")
    group = charted(("individuals", "moving_range"), (5, 5), 5, signal)
    rows = [point_rows(chart, group) for chart in group.charts]
    assert ([6, 7, 8, 9, 10], [5, 6, 7, 8, 9]) == tuple([row.number for row in of] for of in rows)
    assert [8] == [row.number for row in rows[0] if row.signals]


def test_points_of_subgroups_are_known_by_label() -> None:
    """Where subgroups of one reading have no S, its points bear no number, and signals are found by their lot."""
    signal = SignalSeen("s", 3, "L1", 1, "beyond 3 sigma above")
    group = charted(("xbar", "s"), (5, 4), 5, signal)
    rows = point_rows(group.charts[1], group)
    assert [None] * 4 == [row.number for row in rows]
    assert ["L1"] == [row.point.label for row in rows if row.signals]
