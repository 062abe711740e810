"""Measurement models as calculators: nothing is entered and nothing of the book is read."""

from collections.abc import Callable
from typing import Any, TypeVar

import msgspec
from litestar import Controller, Request, Response, post

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_body
from ledger.application.budget_answers import (
    BudgetAnswer,
    density_answer,
    diameter_answer,
    differential_answer,
    imbalance_answer,
    mean_answer,
    radius_answer,
)
from ledger.application.budget_questions import (
    DensityAsked,
    DiameterAsked,
    DifferentialAsked,
    ImbalanceAsked,
    MeanAsked,
    RadiusAsked,
)

T = TypeVar("T")

_MEAN = msgspec.json.Decoder(MeanAsked)
_RADIUS = msgspec.json.Decoder(RadiusAsked)
_DIFFERENTIAL = msgspec.json.Decoder(DifferentialAsked)
_DIAMETER = msgspec.json.Decoder(DiameterAsked)
_IMBALANCE = msgspec.json.Decoder(ImbalanceAsked)
_DENSITY = msgspec.json.Decoder(DensityAsked)


def _calculator(summary: str, body: Any) -> dict[str, Any]:
    return described(Operation(summary, "quality", action="look-up", body=body, answer=BudgetAnswer))


class BudgetRoutes(Controller):
    """A value, its uncertainty with every term, and what to enter as a reading."""

    path = "/budgets"

    @post("/mean", status_code=200, opt=_calculator("Uncertainty of the mean of n readings", MeanAsked))
    async def mean(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Of one gauge, with its calibration and resolution."""
        return await _answered(request, _MEAN, mean_answer)

    @post(
        "/radius-of-gyration",
        status_code=200,
        opt=_calculator("Radius of gyration from torsion periods, with its uncertainty", RadiusAsked),
    )
    async def radius_of_gyration(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """About one axis."""
        return await _answered(request, _RADIUS, radius_answer)

    @post(
        "/differential",
        status_code=200,
        opt=_calculator("Differential of two radii of one session, with its uncertainty", DifferentialAsked),
    )
    async def differential(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What both radii share is counted once."""
        return await _answered(request, _DIFFERENTIAL, differential_answer)

    @post(
        "/diameter",
        status_code=200,
        opt=_calculator("Diameter from a circumference, with its uncertainty", DiameterAsked),
    )
    async def diameter(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The circumference is what is entered and judged."""
        return await _answered(request, _DIAMETER, diameter_answer)

    @post(
        "/imbalance",
        status_code=200,
        opt=_calculator("Static imbalance from an offset of the CG, by a stated definition and arm", ImbalanceAsked),
    )
    async def imbalance(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One offset has four figures, by definition."""
        return await _answered(request, _IMBALANCE, imbalance_answer)

    @post(
        "/density",
        status_code=200,
        opt=_calculator("Density of a mixture by its recipe, with its uncertainty", DensityAsked),
    )
    async def density(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """By mass or by volume fractions."""
        return await _answered(request, _DENSITY, density_answer)


async def _answered(
    request: Request[Any, Any, Any], decoder: msgspec.json.Decoder[T], model: Callable[[T], BudgetAnswer]
) -> Response[bytes]:
    # On a thread: the libraries of a model are loaded with the first question.
    return json_answer(await parts_of(request).long_read(model, await read_body(request, decoder)))
