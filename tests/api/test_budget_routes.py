"""Calculators over HTTP: strict bodies, whole answers, a start that loads no library of theirs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.api.running import Service
from tests.application.test_budget_answers import MODELS

PATHS = {"radius": "radius-of-gyration"}


def path_of(model: str) -> str:
    """The address of a calculator."""
    return f"/budgets/{PATHS.get(model, model)}"


@pytest.mark.parametrize("model", MODELS)
def test_every_calculator_answers(service: Service, model: str) -> None:
    """To anyone with an account, and to nobody without one; what is asked twice is answered alike."""
    body = MODELS[model][2]
    found = service["auditor"].post(path_of(model), json=body)
    assert 200 == found.status_code, found.text
    assert {"value", "unit", "u", "U", "k", "dof", "budget", "assumptions", "sources", "says"} <= set(found.json())
    assert found.json() == service["station"].post(path_of(model), json=body).json()
    assert 401 == service.nobody.post(path_of(model), json=body).status_code


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"definition": "ounces"}, "definition"),
        ({"colour": "red"}, "colour"),
        ({"mass": {"value": 240, "u": "1"}}, "mass.value"),
        ({"mass": {"value": "2.4e2", "u": "1"}}, "mass.value"),
        ({"arm": {"value": "4.25"}}, "arm"),
    ],
)
def test_a_body_is_read_strictly(service: Service, changes: dict[str, Any], where: str) -> None:
    """A problem names the field and the mend."""
    answer = service["quality"].post(path_of("imbalance"), json={**MODELS["imbalance"][2], **changes})
    assert (400, where) == (answer.status_code, answer.json()["where"])
    assert answer.json()["mend"]


@pytest.mark.parametrize("left_out", ["definition", "arm"])
def test_an_imbalance_needs_its_definition_and_arm(service: Service, left_out: str) -> None:
    """Neither is guessed."""
    body = {name: value for name, value in MODELS["imbalance"][2].items() if name != left_out}
    answer = service["quality"].post(path_of("imbalance"), json=body)
    assert (400, left_out) == (answer.status_code, answer.json()["where"])


def test_the_service_starts_without_the_libraries(project: Path) -> None:
    """scipy, numpy and uncertainties are loaded with the first question that needs them."""
    look = "import sys, api.app; print(sorted({'scipy', 'numpy', 'uncertainties'} & set(sys.modules)))"
    ran = subprocess.run([sys.executable, "-c", look], cwd=project, capture_output=True, text=True, check=True)
    assert "[]" == ran.stdout.strip()
