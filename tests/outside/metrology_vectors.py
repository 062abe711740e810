"""The reference vectors of metrology, read where they lie beside the project; each names its own source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

VECTORS = Path(__file__).resolve().parents[3] / "shared" / "reference" / "vectors" / "metrology.json"


def vector(id: str) -> tuple[dict[str, Any], dict[str, Any], float]:
    """Inputs, expected values and tolerance (absolute or relative, as the vector has it) of one vector.

    Skips the test where the vectors are not beside the project; an id that is not among them is an error.
    """
    if not VECTORS.is_file():
        pytest.skip("the reference vectors are not beside the project")
    [found] = [each for each in json.loads(VECTORS.read_text("utf-8")) if each["id"] == id]
    [tolerance] = found["tolerance"].values()
    return found["inputs"], found["expected"], float(tolerance)
