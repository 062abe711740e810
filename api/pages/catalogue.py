"""The languages of the pages: English in the sources, others from message files, and how numbers and instants are written.

Messages are gettext's: the English sentence is the key, with named placeholders.  A language is a folder of ``.po`` files
under ``locale``, one for each concern, read together when the first page in it is made.  What the book itself says (why a
verdict, a breach, a refusal) is English in every language; pages mark it as such.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from babel import Locale
from babel.dates import format_date, format_datetime
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal
from babel.support import Translations

from ledger.errors import MalformedInput

ENGLISH = "en"
LANGUAGES: dict[str, str] = {ENGLISH: "English", "de": "Deutsch"}
"""Code of a language, as in HTML's ``lang``, and what it calls itself."""

# The form of numbers and dates: days before months, and a clock of 24 hours, as records are written.
_LOCALES = {ENGLISH: Locale("en", "GB"), "de": Locale("de")}


def N_(message: str) -> str:  # noqa: N802  # gettext's own name for it, which extraction looks for
    """Mark a message that is looked up later."""
    return message


class Catalogue:
    """One language: messages, numbers, instants."""

    def __init__(self, language: str, translations: Translations, zone: dt.tzinfo) -> None:
        """Use `catalogue`, which keeps one for each language and zone."""
        self.language = language
        self.zone = zone
        self._locale = _LOCALES[language]
        # Day, short month, year, in the order and with the marks of the language.
        self._day_form = str(self._locale.datetime_skeletons["yMMMd"].pattern)
        self._translations = translations

    def gettext(self, message: str) -> str:
        """A message in this language; itself where it has none."""
        return str(self._translations.gettext(message))

    def ngettext(self, one: str, many: str, count: int) -> str:
        """A message that depends on a count, in the form that belongs to it."""
        return str(self._translations.ngettext(one, many, count))

    def number(self, value: float, places: int | None = None) -> str:
        """A number as this language writes it, with so many decimals or as many as it has."""
        if places is None:
            return str(format_decimal(value, locale=self._locale))
        zeros = "0" * places
        return str(format_decimal(value, format=f"#,##0.{zeros}" if places else "#,##0", locale=self._locale))

    def instant(self, at: int | str | None, *, seconds: bool = False) -> str:
        """An instant (POSIX milliseconds, or a record's text) in the plant's zone; empty for None."""
        moment = self.moment(at)
        if moment is None:
            return ""
        form = f"{self._day_form}, HH:mm:ss" if seconds else f"{self._day_form}, HH:mm"
        return str(format_datetime(moment, form, locale=self._locale))

    def day(self, at: int | str | None) -> str:
        """The day of an instant in the plant's zone, or of an ISO date; empty for None."""
        if isinstance(at, str) and len(at) == len("2026-11-29"):
            return str(format_date(dt.date.fromisoformat(at), self._day_form, locale=self._locale))
        moment = self.moment(at)
        return "" if moment is None else str(format_datetime(moment, self._day_form, locale=self._locale))

    def moment(self, at: int | str | None) -> dt.datetime | None:
        """An instant in the plant's zone."""
        if at is None:
            return None
        if isinstance(at, str):
            return dt.datetime.fromisoformat(at).astimezone(self.zone)
        return dt.datetime.fromtimestamp(at / 1000, self.zone)

    def span(self, ms: int) -> str:
        """A length of time in its two largest units, of days, hours, minutes and seconds."""
        left = abs(ms) // 1000
        parts: list[str] = []
        units = (
            (86_400, self.gettext("%(n)s d")),
            (3_600, self.gettext("%(n)s h")),
            (60, self.gettext("%(n)s min")),
            (1, self.gettext("%(n)s s")),
        )
        for size, form in units:
            count, left = divmod(left, size)
            if count or (size == 1 and not parts):
                parts.append(form % {"n": count})
        return " ".join(parts[:2])


@cache
def catalogue(language: str, zone: str = "UTC") -> Catalogue:
    """The catalogue of a language of ``LANGUAGES`` in a time zone. Raises MalformedInput for a zone that is not known."""
    return Catalogue(language, _translations(language), time_zone(zone))


def time_zone(name: str) -> dt.tzinfo:
    """A zone by its IANA name. Raises MalformedInput."""
    if name == "UTC":
        return dt.UTC
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise MalformedInput(
            "time zone is not known here",
            expected="a name of the IANA time zone database, as in Europe/Berlin",
            got=name,
            where="time_zone",
            mend="correct the name, or install the system's time zone data",
        ) from error


def preferred_language(chosen: str | None, accepted: Sequence[str]) -> str:
    """The language of a page: the one chosen, else the first accepted that there is, else English."""
    for code in (chosen or "", *accepted):
        known = code.partition("-")[0].lower()
        if known in LANGUAGES:
            return known
    return ENGLISH


def message_files(language: str) -> list[str]:
    """The names of a language's message files, in order."""
    folder = resources.files("api.pages").joinpath("locale", language)
    return sorted(file.name for file in folder.iterdir() if file.name.endswith(".po"))


def _translations(language: str) -> Translations:
    if language == ENGLISH:
        return Translations()
    folder = resources.files("api.pages").joinpath("locale", language)
    joined = Translations()
    for name in message_files(language):
        compiled = io.BytesIO()
        with folder.joinpath(name).open("rb") as source:
            write_mo(compiled, read_po(source, locale=language, abort_invalid=True))
        compiled.seek(0)
        joined.add(Translations(compiled))
    return joined
