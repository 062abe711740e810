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


def _calculator(path: str, summary: str, asked: Any) -> post:
    """The route of a calculator: its answers are alike."""
    operation = Operation(summary, "quality", action="look-up", body=asked, answer=BudgetAnswer)
    return post(path, status_code=200, opt=described(operation))


class BudgetRoutes(Controller):
    """A value, its uncertainty with every term, and what to enter as a reading."""

    path = "/budgets"

    @_calculator("/mean", "Uncertainty of the mean of n readings", MeanAsked)
    async def mean(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Of one gauge, with its calibration and resolution."""
        return await _answered(request, MeanAsked, mean_answer)

    @_calculator("/radius-of-gyration", "Radius of gyration from torsion periods, with its uncertainty", RadiusAsked)
    async def radius_of_gyration(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """About one axis."""
        return await _answered(request, RadiusAsked, radius_answer)

    @_calculator("/differential", "Differential of two radii of one session, with its uncertainty", DifferentialAsked)
    async def differential(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What both radii share is counted once."""
        return await _answered(request, DifferentialAsked, differential_answer)

    @_calculator("/diameter", "Diameter from a circumference, with its uncertainty", DiameterAsked)
    async def diameter(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The circumference is what is entered and judged."""
        return await _answered(request, DiameterAsked, diameter_answer)

    @_calculator(
        "/imbalance", "Static imbalance from an offset of the CG, by a stated definition and arm", ImbalanceAsked
    )
    async def imbalance(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One offset has four figures, by definition."""
        return await _answered(request, ImbalanceAsked, imbalance_answer)

    @_calculator("/density", "Density of a mixture by its recipe, with its uncertainty", DensityAsked)
    async def density(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """By mass or by volume fractions."""
        return await _answered(request, DensityAsked, density_answer)


async def _answered(
    request: Request[Any, Any, Any], asked: type[T], model: Callable[[T], BudgetAnswer]
) -> Response[bytes]:
    # On a thread: the libraries of a model are loaded with the first question.
    body = await read_body(request, msgspec.json.Decoder(asked))
    return json_answer(await parts_of(request).long_read(model, body))
