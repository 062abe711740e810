"""The trace as a picture and in words: quantities add up to the accounts, certain and possible show in both."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.plant_pages import MIXED, plant, signed_in
from tests.pages.test_ball_page import words


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running plant."""
    with plant(tmp_path_factory.mktemp("trace"), "auditor") as one:
        yield one


@pytest.fixture
def auditor(service: Service) -> Iterator[Browser]:
    """A browser where an auditor is signed in."""
    browser = signed_in(service, "auditor")
    yield browser
    browser.close()


def lines(browser: Browser, lot: str, direction: str) -> list[dict[str, str]]:
    """The lines of a trace, as the file has them."""
    return list(csv.DictReader(io.StringIO(browser.open(f"/trace/{lot}/lines.csv?direction={direction}").text)))


@pytest.mark.parametrize("lot", ["MT-1", "BT-1", "BL-2", "CL-2", "CL-3"])
def test_quantities_add_up_to_the_account(service: Service, auditor: Browser, lot: str) -> None:
    """What the lines from a lot say together is what its account has as used, and so for every lot below."""
    drawn: Counter[str] = Counter()
    found = lines(auditor, lot, "down")
    for line in found:
        drawn[line["parent"]] += int(line["amount"])
    assert found
    for name, amount in drawn.items():
        assert service.book.lot(name).account.used == amount or service.book.lot(name).stage == "shell"
    assert "That is not what its account has as used" not in words(auditor, f"/trace/{lot}")


def test_upwards_it_is_what_the_application_finds(service: Service, auditor: Browser) -> None:
    """The lots and what each gave are those of ``GET /lots/{lot}/above``."""
    drawn: Counter[str] = Counter()
    for line in lines(auditor, MIXED, "up"):
        drawn[line["parent"]] += int(line["amount"])
    assert {one.lot: one.drawn for one in service.book.above(MIXED).lots} == drawn
    page = auditor.open(f"/trace/{MIXED}?direction=up").text
    for one in service.book.above(MIXED).lots:
        assert re.search(
            rf'<a href="/trace/{one.lot}" aria-label="[^"]*{one.certainty}" class="lot {one.certainty}', page
        )


def test_downwards_it_is_what_the_application_finds(service: Service, auditor: Browser) -> None:
    """Each lot below is in the picture as surely as ``GET /lots/{lot}/below`` says."""
    page = auditor.open("/trace/CL-2?direction=down").text
    below = service.book.below("CL-2").lots
    assert [(MIXED, "possible")] == [(one.lot, one.certainty) for one in below]
    assert 'class="lot possible"' in page
    assert f'href="/trace/{MIXED}"' in page


def test_possible_and_certain_are_in_picture_and_words(auditor: Browser) -> None:
    """A dashed line and the word for cores of one lot or another; a solid line for what every piece has."""
    page = auditor.open(f"/trace/{MIXED}?direction=up").text
    rows = re.findall(
        r'/trace/([\w-]+)\?direction=up">[^<]+</a></td><td><a class="id" href="/trace/([\w-]+)\?[^<]+</a></td>'
        r'.*?<span class="certainty (\w+)">',
        page,
        re.DOTALL,
    )
    sure = {(parent, child): word for parent, child, word in rows}
    assert ("possible", "possible", "certain") == (sure["CL-2", MIXED], sure["CL-3", MIXED], sure["BT-1", MIXED])
    assert len(rows) == len(re.findall(r'<path [^>]*class="line (?:certain|possible)"', page))
    assert page.count('class="line possible"') == sum(word == "possible" for word in sure.values())


def test_a_picture_has_no_style_and_no_script(auditor: Browser) -> None:
    """The policy of content forbids both, in a picture too; its links and its name are there without a pointer."""
    page = auditor.open(f"/trace/{MIXED}").text
    picture = page[page.index("<svg") : page.index("</svg>")]
    assert ("style=" in picture, "<script" in picture, "<style" in picture) == (False, False, False)
    assert f'role="group" aria-label="Trace of {MIXED}"' in picture


def test_an_unknown_direction_is_refused(auditor: Browser) -> None:
    """With the directions that there are."""
    answer = auditor.open("/trace/SL-1?direction=sideways")
    assert (400, True) == (answer.status_code, "both, up, down" in answer.text)
    assert 404 == auditor.open("/trace/NONE").status_code
