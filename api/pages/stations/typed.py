"""What was typed into a form of a station, read as records have it: ids in capitals, kilograms, counts, instants."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any

from api.pages.access.forms import Form
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import LedgerError, MalformedInput

_LOCAL = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d{1,3})?)?")
_DECIMAL = re.compile(r"\d+([.,]\d*)?|[.,]\d+")


class Typed(Form):
    """The fields of one form; ``zone`` is the plant's, in which a person types a time."""

    def __init__(self, fields: Mapping[str, list[Any]], zone: dt.tzinfo) -> None:
        """``fields``: every value said for a name."""
        super().__init__(fields)
        self._zone = zone

    def row(self, name: str, place: int) -> str:
        """The value of a field that is said once a row; empty where the row is not there."""
        said = self.every(name)
        return said[place].strip() if place < len(said) else ""

    def rows(self, *names: str) -> list[int]:
        """The places of the rows in which one of the fields is filled in."""
        longest = max((len(self.every(name)) for name in names), default=0)
        return [place for place in range(longest) if any(self.row(name, place) for name in names)]

    def id(self, name: str, place: int | None = None) -> str:
        """An id as records have it: capitals. Scanners and gloves make small letters of them."""
        return (self.text(name) if place is None else self.row(name, place)).upper()

    def count(self, name: str, place: int | None = None, *, empty: int | None = None) -> int:
        """A whole number; ``empty`` stands for nothing typed. Raises MalformedInput."""
        text = self.text(name) if place is None else self.row(name, place)
        if not text and empty is not None:
            return empty
        if not (text.isascii() and text.isdigit() and len(text) <= 9):
            raise _wrong("a whole number is needed here", "digits alone", text, name, place)
        return int(text)

    def kg(self, name: str, place: int | None = None) -> str:
        """Kilograms as records have them, typed with a point or a comma. Raises MalformedInput."""
        text = (self.text(name) if place is None else self.row(name, place)).replace(" ", "")
        found = _DECIMAL.fullmatch(text)
        whole, _, part = text.replace(",", ".").partition(".")
        if found is None or len(part) > 3 or len(whole.lstrip("0")) > 9:
            raise _wrong("kilograms are needed here", "a number with at most 3 decimals, as 12.5", text, name, place)
        return (whole.lstrip("0") or "0") + (f".{part}" if part else "")

    def decimal(self, name: str) -> str:
        """A decimal number as records have it; empty where nothing was typed. Raises MalformedInput."""
        text = self.text(name).replace(" ", "")
        if not text:
            return ""
        if _DECIMAL.fullmatch(text) is None:
            raise _wrong("a number is needed here", "a number as 1.62", text, name, None)
        whole, _, part = text.replace(",", ".").partition(".")
        return (whole.lstrip("0") or "0") + (f".{part}" if part else "")

    def instant(self, name: str) -> str:
        """An instant as records have it, from one or from the browser's own field; empty for nothing. Raises MalformedInput.

        Of an hour that the clock goes through twice, the first is meant.
        """
        text = self.text(name)
        if not text:
            return ""
        if _LOCAL.fullmatch(text):
            try:
                moment = dt.datetime.fromisoformat(text).replace(tzinfo=self._zone)
            except ValueError as error:
                raise _wrong("no such time", "a day and a time", text, name, None) from error
            offset = moment.utcoffset() or dt.timedelta()
            return format_instant(Instant(round(moment.timestamp() * 1000), int(offset.total_seconds()) // 60))
        try:
            instant_ms(text)
        except LedgerError as error:
            raise _wrong("no such time", "a day and a time", text, name, None) from error
        return text

    def picked(self, *names: str) -> dict[str, str]:
        """These fields as a record's, as far as they are filled in."""
        return {name: text for name in names if (text := self.text(name))}

    def pairs(self) -> list[tuple[str, str]]:
        """Every field and value, but for what belongs to one sending of the form."""
        once = {"key", "at", "form_token", "clock_error_s"}
        return [(name, value) for name in self._fields if name not in once for value in self.every(name)]


def earlier(at: str, minutes: int) -> str:
    """The instant so many minutes before another, in its offset."""
    moment = dt.datetime.fromisoformat(at)
    offset = moment.utcoffset() or dt.timedelta()
    return format_instant(Instant(instant_ms(at) - minutes * 60_000, int(offset.total_seconds()) // 60))


def _wrong(problem: str, expected: str, got: str, name: str, place: int | None) -> MalformedInput:
    where = name if place is None else f"{name}[{place}]"
    return MalformedInput(problem, expected=expected, got=got or "nothing", where=where, mend="correct the field")
