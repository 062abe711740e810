"""The languages: every message has its translation with the same placeholders; numbers and instants as CLDR has them."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from babel.messages.catalog import Message
from babel.messages.pofile import read_po
from hypothesis import given
from hypothesis import strategies as st

from api.pages.catalogue import ENGLISH, LANGUAGES, Catalogue, catalogue, message_files, preferred_language
from api.pages.page import _accepted
from ledger.errors import MalformedInput
from ops.page_messages import PAGES, compare

OTHERS = [code for code in LANGUAGES if code != ENGLISH]
PLACEHOLDER = re.compile(r"%\((\w+)\)s")


def translated(language: str) -> Iterator[Message]:
    """Every message of every file of a language."""
    for name in message_files(language):
        with (PAGES / "locale" / language / name).open("rb") as file:
            yield from (message for message in read_po(file, locale=language) if message.id)


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_is_translated_once(language: str) -> None:
    """None is missing, none is of a page that is gone, none is said in two ways."""
    found = compare(language)
    assert [] == [message.id for message in found.missing]
    assert ([], []) == (found.orphans, found.twice)


@pytest.mark.parametrize("language", OTHERS)
def test_placeholders_are_those_of_the_original(language: str) -> None:
    """Each form of a translation has the placeholders of the message, and no percent sign that would be one."""
    wrong = []
    for message in translated(language):
        wanted = set(PLACEHOLDER.findall(" ".join(message.id) if isinstance(message.id, tuple) else str(message.id)))
        forms = message.string if isinstance(message.string, tuple | list) else [message.string]
        for form in forms:
            bare = "%" in PLACEHOLDER.sub("", str(form)).replace("%%", "")
            if set(PLACEHOLDER.findall(str(form))) != wanted or bare:
                wrong.append((message.id, form))
    assert [] == wrong


@pytest.mark.parametrize("language", OTHERS)
def test_messages_of_a_count_have_every_form(language: str) -> None:
    """A message that depends on a count has as many forms as the language, none of them empty."""
    for message in translated(language):
        if isinstance(message.id, tuple):
            assert 2 == len([form for form in message.string or () if form]), message.id
    words = catalogue(language)
    one, many = "Wait %(count)s second, then ask again.", "Wait %(count)s seconds, then ask again."
    assert words.ngettext(one, many, 1) != words.ngettext(one, many, 2)


@pytest.mark.parametrize(
    ("chosen", "accepted", "language"),
    [
        (None, [], "en"), (None, ["de"], "de"), (None, ["de-CH", "en"], "de"), (None, ["fr", "de"], "de"),
        (None, ["fr"], "en"), ("de", ["en"], "de"), ("fr", ["de"], "de"), ("DE-at", [], "de"), ("", ["*"], "en"),
    ],
)  # fmt: skip
def test_the_language_is_the_chosen_one_or_the_first_that_there_is(
    chosen: str | None, accepted: list[str], language: str
) -> None:
    """A choice goes first, then what the browser would rather have; English where nothing fits."""
    assert language == preferred_language(chosen, accepted)


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("de", "de"), ("en;q=0.5, de;q=0.9", "de"), ("de;q=0", "en"), ("de;q=0.1,fr", "de"), ("de;q=x, en", "en"),
        ("en, de", "en"), ("", "en"), (";;;,,q=", "en"), ("de; q=0.2, en;q=0.1", "de"),
    ],
)  # fmt: skip
def test_weights_are_heeded(header: str, language: str) -> None:
    """The most wanted goes first, and what has weight 0 is not wanted (RFC 9110 section 12.4.2)."""
    assert language == preferred_language(None, _accepted(header))


@given(st.text(max_size=200))
def test_any_header_gives_a_language(header: str) -> None:
    """Whatever a client sends, a page has a language."""
    assert preferred_language(None, _accepted(header)) in LANGUAGES


@given(st.lists(st.tuples(st.sampled_from(["en", "de", "fr", "de-AT"]), st.integers(0, 1000)), max_size=6))
def test_the_heaviest_known_language_wins(weighed: list[tuple[str, int]]) -> None:
    """Of distinct weights the heaviest language that there is, is taken."""
    distinct = list({weight: (code, weight) for code, weight in weighed}.values())
    header = ", ".join(f"{code};q={weight / 1000:.3f}" for code, weight in distinct)
    known = [(weight, code[:2]) for code, weight in distinct if weight and code[:2] in LANGUAGES]
    assert (max(known)[1] if known else ENGLISH) == preferred_language(None, _accepted(header))


# Unicode CLDR 48, en_GB and de: dateFormatItem yMMMd, numbers symbols group and decimal, month abbreviations in a date.
@pytest.mark.parametrize(
    ("language", "number", "day", "instant"),
    [
        ("en", "12,345.50", "7 Mar 2026", "7 Mar 2026, 18:05"),
        ("de", "12.345,50", "7. März 2026", "7. März 2026, 18:05"),
    ],
)
def test_numbers_and_instants_are_as_cldr_has_them(language: str, number: str, day: str, instant: str) -> None:
    """Groups, decimals, the order of a date and a clock of 24 hours are those of the language, in the plant's zone."""
    words = catalogue(language, "Europe/Berlin")
    at = "2026-03-07T17:05:59.000+00:00"
    assert (number, day, day, instant) == (
        words.number(12345.5, 2), words.day("2026-03-07"), words.day(at), words.instant(at),
    )  # fmt: skip
    assert instant == words.instant(1_772_903_159_000)
    assert f"{instant}:59" == words.instant(at, seconds=True)
    assert ("", "") == (words.day(None), words.instant(None))


@pytest.mark.parametrize(
    ("ms", "told"), [(0, "0 s"), (999, "0 s"), (61_000, "1 min 1 s"), (90_061_000, "1 d 1 h"), (-3_600_000, "1 h")]
)
def test_a_span_is_told_in_its_two_largest_units(ms: int, told: str) -> None:
    """Days, hours, minutes, seconds: the two largest that are not nought."""
    assert told == catalogue(ENGLISH).span(ms)


def test_a_zone_that_is_not_known_is_refused() -> None:
    """The name is told, and what it should be."""
    for name in ("Mars/Base", "../etc/passwd", "", "Europe"):
        with pytest.raises(MalformedInput, match="time zone"):
            catalogue(ENGLISH, name)


def test_summer_time_is_that_of_the_zone() -> None:
    """The same hour of UTC is another by the plant's clock in summer."""
    words: Catalogue = catalogue(ENGLISH, "Europe/Berlin")
    assert "1 Jul 2026, 02:00" == words.instant("2026-07-01T00:00:00.000+00:00")
    assert "1 Jan 2026, 01:00" == words.instant("2026-01-01T00:00:00.000+00:00")
