"""A population against its limits: the form, the answer, and the numbers behind it as tables."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.pages.limits.answering import Sheet, address_of, answering, asking, read_typed, typed_in
from api.pages.limits.csv_table import csv_answer, numbers_of
from api.pages.limits.options import read_requirements
from api.pages.limits.population_view import population_values, requirement_rows
from api.pages.limits.tabs import LIMITS, of_limits
from api.pages.page import catalogue_of
from api.parts import Parts, parts_of
from api.request_body import read_query
from api.routes.figures import CapabilityWanted, figures_asked
from ledger.application.conformity_query import Conformity, conformity_of
from ledger.application.limits_answer import Distribution, LimitsAnswer, distribution_of, limits_answer
from ledger.application.process_figures import FiguresAsked
from ledger.application.process_groups import By
from ledger.conformity.outcome import CAUTION, OUTCOMES
from ledger.conformity.words import OUTCOME_WORDS
from ledger.line.quantity import UNITS
from ledger.line.record import Id, On, Slug

SHEET = Sheet(LIMITS, "population.html", f"{LIMITS}/answer", "population-answer.html")

TABLE_FIELDS = ("rulebook", "model", "lot", "state", "from_on", "to_on")
"""What the table of balls takes of what was typed."""


class PopulationWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, against which rulebook, and of which quantity the distribution. See `CapabilityWanted`."""

    rulebook: Annotated[str, Meta(min_length=1, max_length=64)]
    quantity: Slug | None = None
    model: Id | None = None
    lot: Id | None = None
    state: Slug | None = None
    from_on: On | None = None
    to_on: On | None = None
    weight_class: Annotated[int, Meta(ge=4, le=16)] | None = None
    by: By = "none"


class PopulationPages(Controller):
    """Balls against their limits."""

    path = LIMITS

    @get(opt=of_limits("A population against its limits"))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form; what it asks for is worked out at the answer's own address."""
        return await asking(request, SHEET, asked="rulebook" in typed_in(request))

    @get("/answer", opt=of_limits("A population against its limits: the answer"))
    async def answer(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Outcomes, the worst balls, the distribution, and the table by requirement."""
        return await answering(request, SHEET, _answer)

    @get(
        "/requirements.csv",
        opt=numbers_of(
            "Outcomes of a selection of balls by requirement, a line each, with what each limit rests on",
            PopulationWanted,
        ),
    )
    async def requirements(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The table by requirement as a file."""
        wanted, parts = read_query(request, PopulationWanted), parts_of(request)
        raw = await parts.long_answer(conformity_of, _figures_asked(wanted).selection, wanted.rulebook)
        return await _requirements_file(parts, msgspec.json.decode(raw, type=Conformity))

    @get(
        "/histogram.csv",
        opt=numbers_of("The bins of a quantity's distribution, a line each, by group", CapabilityWanted),
    )
    async def histogram(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The numbers of the histograms as a file."""
        asked = figures_asked(read_query(request, CapabilityWanted))
        raw = await parts_of(request).long_answer(distribution_of, asked)
        return _histogram_file(msgspec.json.decode(raw, type=Distribution))


def _figures_asked(wanted: PopulationWanted) -> FiguresAsked:
    """Balls and rulebook; of no quantity where none is asked for."""
    return figures_asked(CapabilityWanted(**{**msgspec.structs.asdict(wanted), "quantity": wanted.quantity or ""}))


async def _answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
    wanted, parts = read_typed(typed, PopulationWanted), parts_of(request)
    asked = _figures_asked(wanted)
    raw = await parts.long_answer(
        limits_answer, asked.selection, wanted.rulebook, asked if wanted.quantity is not None else None
    )
    found = msgspec.json.decode(raw, type=LimitsAnswer)
    requirements = await parts.long_read(read_requirements, parts.book.store, found.conformity.digest)
    kept = {name: typed[name] for name in TABLE_FIELDS if name in typed}
    return {
        **population_values(found, requirements, catalogue_of(request)),
        "wanted": wanted,
        "at_ms": parts.book.clock_ms(),
        "requirements_csv": address_of(f"{LIMITS}/requirements.csv", kept),
        "histogram_csv": address_of(f"{LIMITS}/histogram.csv", typed),
        "charts": address_of(f"{LIMITS}/charts", typed),
        "balls_csv": address_of("/conformity/table", kept, form="csv"),
        "balls_parquet": address_of("/conformity/table", kept, form="parquet") if find_spec("pyarrow") else "",
        "rules_change": address_of(f"{LIMITS}/changes", kept),
    }


async def _requirements_file(parts: Parts, found: Conformity) -> Response[bytes]:
    requirements = await parts.long_read(read_requirements, parts.book.store, found.digest)
    rows = requirement_rows(found.tally, requirements)
    has_house = any(row.house is not None for row in rows)
    words = [OUTCOME_WORDS[outcome] for outcome in OUTCOMES]
    head = ["requirement", "limit", "balls", "held against it", "decision", *words]
    head += [f"by the house's rule: {word}" for word in words] if has_house else []
    head += ["in force", "limit read", "source", "section"]
    notes = (
        f"{found.rulebook}, edition {found.edition}, digest {found.digest}; {found.tally.balls} balls",
        f"rule of the house: policy, fact {found.policy}" if found.policy else "the house has no rule of its own",
        CAUTION,
    )
    lines = [
        [
            *(row.requirement.id, row.words, row.scope, row.per, row.decision),
            *(row.counts[outcome] for outcome in OUTCOMES),
            *((row.house[outcome] for outcome in OUTCOMES) if row.house is not None else ()),
            *(row.requirement.period_text, row.requirement.provenance, row.requirement.source, row.requirement.section),
        ]
        for row in rows
    ]
    return csv_answer("requirements.csv", notes, head, lines)


def _histogram_file(found: Distribution) -> Response[bytes]:
    unit = UNITS[found.figures.unit].printed
    notes = (f"{found.figures.quantity}, {unit}; bins from, and without, their upper edge", CAUTION)
    lines = [
        [
            group,
            f"{bins.start + place * bins.width:.7g}",
            f"{bins.start + (place + 1) * bins.width:.7g}",
            count,
            outside,
        ]
        for group, bins in found.bins.items()
        for place, (count, outside) in enumerate(zip(bins.counts, bins.outside, strict=True))
    ]
    return csv_answer("histogram.csv", notes, ["group", "from", "to", "readings", "outside the limits"], lines)
