"""The description of the service: whole, consistent, and the same as what the service does."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from api.openapi import older
from ledger.line.vocabulary import RECORD_OF
from tests.api.running import Service


@pytest.fixture
def document(service: Service) -> dict[str, Any]:
    """The document as served."""
    found: dict[str, Any] = service.nobody.get("/openapi.json").json()
    return found


def parts(value: Any) -> Iterator[dict[str, Any]]:
    """Every object inside a document."""
    if isinstance(value, dict):
        yield value
    for member in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from parts(member)


def operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Path and description of every operation."""
    for path, methods in document["paths"].items():
        for operation in methods.values():
            yield path, operation


def test_it_is_openapi_3_1(document: dict[str, Any]) -> None:
    """The document names its version, title and paths, as OpenAPI 3.1 asks (OAS 3.1.0 section 4.8.1)."""
    assert "3.1.0" == document["openapi"]
    assert {"title", "version"} <= set(document["info"])
    assert all(path.startswith("/") for path in document["paths"])


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    """Each $ref names a schema that is there."""
    references = [part["$ref"] for part in parts(document) if "$ref" in part]

    assert references
    assert {ref.rpartition("/")[2] for ref in references} <= set(document["components"]["schemas"])


def test_every_operation_is_whole(document: dict[str, Any]) -> None:
    """Each operation has an id of its own, its path parameters, and answers that are described (4.8.10, 4.8.16)."""
    ids = [operation["operationId"] for _, operation in operations(document)]
    assert len(ids) == len(set(ids))
    for path, operation in operations(document):
        named = {one["name"] for one in operation["parameters"] if one["in"] == "path"}
        assert set(re.findall(r"{(\w+)}", path)) == named, path
        assert operation["responses"], path
        assert all(answer["description"] for answer in operation["responses"].values()), path
        assert all(one["schema"] for one in operation["parameters"]), path


def test_every_kind_of_record_is_described(document: dict[str, Any]) -> None:
    """The body of a submission names every record kind by its tag."""
    records = document["components"]["schemas"]["Records"]["properties"]["records"]["items"]

    assert set(RECORD_OF) == set(records["discriminator"]["mapping"])


def test_operations_that_enter_something_take_a_key(document: dict[str, Any]) -> None:
    """The idempotency key stands as a required header where entries are made."""
    keyed = {path for path, one in operations(document) if "Idempotency-Key" in str(one["parameters"])}

    assert {"/submissions", "/balls", "/serials", "/releases", "/lots/{lot}/temperature-log"} | {
        "/rulebooks",
        "/checklists",
    } | {
        f"/approvals/{{file}}/{step}" for step in ("announcements", "draws", "replacements", "freezes", "signatures")
    } | {"/cases", *(f"/cases/{{case}}/{what}" for what in ("orders", "lift", "letters", "answers"))} | {
        "/claims/{claim}/letter",
        "/warranty/terms",
    } == keyed


def test_patterns_are_of_the_common_form(document: dict[str, Any]) -> None:
    """No pattern holds what only Python reads."""
    patterns = [part["pattern"] for part in parts(document) if isinstance(part.get("pattern"), str)]

    assert patterns
    assert [] == [pattern for pattern in patterns if r"\Z" in pattern or "(?P" in pattern]


def test_the_viewer_gets_the_same_in_the_older_form(service: Service, document: dict[str, Any]) -> None:
    """The viewer's document has the same paths and schemas, in the terms of OpenAPI 3.0."""
    viewed = service.nobody.get("/docs/openapi-3.0.json").json()

    assert "3.0.3" == viewed["openapi"]
    assert (set(document["paths"]), set(document["components"]["schemas"])) == (
        set(viewed["paths"]),
        set(viewed["components"]["schemas"]),
    )
    assert '{"type": "null"}' not in json.dumps(viewed)
    assert "prefixItems" not in json.dumps(viewed)


def test_older_terms() -> None:
    """Null, exclusive bounds and tuples are said as OpenAPI 3.0 says them."""
    assert {"allOf": [{"$ref": "#/x"}], "nullable": True} == older({"anyOf": [{"$ref": "#/x"}, {"type": "null"}]})
    assert {"minimum": 3, "exclusiveMinimum": True} == older({"exclusiveMinimum": 3})
    assert {"items": {"anyOf": [{"type": "string"}, {"type": "integer"}]}} == older(
        {"prefixItems": [{"type": "string"}, {"type": "integer"}], "items": False}
    )


def test_an_answer_is_what_the_description_says(service: Service, document: dict[str, Any]) -> None:
    """The fields of a ball, as served, are those of its schema; what is required is there."""
    schema = document["components"]["schemas"]["Ball"]
    ball = service["desk"].get("/balls/U-000001").json()

    assert set(schema["required"]) <= set(ball) <= set(schema["properties"])
