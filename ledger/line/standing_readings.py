"""How the readings that stand of a ball were taken, and when: the two texts of a `Measured` row.

``manner``, canonical JSON: quantity -> ``[unit, gauge, statistic, number of readings]``, where stated with a fifth
element, the state of the surface, a sixth, the seconds between contact and reading, and a seventh, the least distance in
millimetres between the places of repeated readings (what comes before is then empty where it was not stated).  A plant has few of these texts: a station reads the same quantities in the same way all day.
``sources``, canonical JSON: ``[instant ms, fact address]``, with the temperature in thousandths of a degree Celsius as a
third element where it was stated, if every quantity of the manner was read so, as is usual; else quantity -> such a list.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

import msgspec

from ledger.line.reading_rows import Measured


class Manner(NamedTuple):
    """How a quantity was read. ``surface``, ``delay_s`` and ``spacing_mm`` are empty where they were not stated."""

    unit: str
    gauge: str
    statistic: str
    readings: int
    surface: str = ""
    delay_s: str = ""
    spacing_mm: str = ""

    @property
    def said(self) -> list[str | int]:
        """As it is written: without what was not stated at its end."""
        said: list[str | int] = [*self]
        while len(said) > 4 and not said[-1]:
            said.pop()
        return said


class Source(NamedTuple):
    """When a quantity was read, by which fact, and at which temperature (thousandths of a degree C) if that was stated."""

    at_ms: int
    fact: str
    milli_c: int | None = None

    @property
    def said(self) -> list[str | int]:
        """As it is written."""
        return [self.at_ms, self.fact] if self.milli_c is None else [self.at_ms, self.fact, self.milli_c]


class Ends(NamedTuple):
    """The columns of `Measured` that say between which instants and temperatures its readings were taken."""

    first_ms: int | None
    last_ms: int | None
    coldest: int | None
    warmest: int | None


# Texts and whole numbers of a record that was checked: the canonical form, without looking for what cannot be there.
_encode = msgspec.json.Encoder(order="deterministic").encode
_decode_manner = msgspec.json.Decoder(dict[str, Manner]).decode
_decode_source = msgspec.json.Decoder(Source).decode
_decode_sources = msgspec.json.Decoder(dict[str, Source]).decode


def format_manner(manner: Mapping[str, Manner]) -> str:
    """The text of a row's ``manner``."""
    return _encode({quantity: how.said for quantity, how in manner.items()}).decode()


@lru_cache(maxsize=4096)
def parse_manner(text: str) -> Mapping[str, Manner]:
    """Quantity to how it was read. What is given is shared, and cannot be changed."""
    return MappingProxyType(_decode_manner(text))


def format_sources(sources: Mapping[str, Source]) -> str:
    """The text of a row's ``sources``."""
    different = set(sources.values())
    if len(different) == 1:
        return format_source(different.pop())
    return _encode({quantity: source.said for quantity, source in sources.items()}).decode()


def format_source(source: Source) -> str:
    """The text of a row's ``sources`` where all that stands was read by one fact: `format_sources` of these."""
    return _encode(source.said).decode()


def parse_sources(text: str, quantities: Iterable[str]) -> dict[str, Source]:
    """Quantity to when it was read, and by which fact. ``quantities``: those of the row's manner."""
    return dict.fromkeys(quantities, _decode_source(text)) if text.startswith("[") else _decode_sources(text)


def manner_of(measured: Measured | None) -> Mapping[str, Manner]:
    """How each quantity that stands was read."""
    return {} if measured is None else parse_manner(measured.manner)


def sources_of(measured: Measured | None) -> dict[str, Source]:
    """When each quantity that stands was read, and by which fact."""
    return {} if measured is None else parse_sources(measured.sources, parse_manner(measured.manner))


def gauges_of(measured: Measured | None) -> set[str]:
    """The gauges that the readings that stand were taken with."""
    return set() if measured is None else gauges_in(measured.manner)


def gauges_in(manner: str) -> set[str]:
    """The gauges that the text of a manner names."""
    return {how.gauge for how in parse_manner(manner).values()}


def ends_of(sources: Collection[Source]) -> Ends:
    """Between which instants these were read, and between which temperatures those of them that state one."""
    instants = [source[0] for source in sources]
    known = [source[2] for source in sources if source[2] is not None]
    first_last = (min(instants), max(instants)) if instants else (None, None)
    coldest_warmest = (min(known), max(known)) if known else (None, None)
    return Ends(*first_last, *coldest_warmest)
