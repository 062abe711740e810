"""The description of the service: OpenAPI 3.1, made from what the routes say about themselves.

Schemas are those that msgspec writes for the very types that read requests and write answers (JSON Schema 2020-12).
The viewer of the installed package reads OpenAPI 3.0, so ``older`` gives the same document in that form; it is for the
eye alone, and where 3.0 cannot say a thing the 3.1 document stands.
"""

import re
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Any

import msgspec
from litestar import Litestar
from litestar.handlers import HTTPRouteHandler
from litestar.routes import HTTPRoute

from api.operation import Operation, operation_of
from api.problems import HTTP_CODES, MEDIA_TYPE, Problem
from api.standby import AGE, AS_OF, SIZE
from ledger.access.roles import MAY_DO, ROLES
from ledger.book.entry import FORMAT
from ledger.line.submission import KeyText

_REF = "#/components/schemas/{name}"
_TYPED = re.compile(r"\{(\w+):(\w+)\}")
_TITLES = {
    400: "Malformed; where names the field",
    401: "No token, or one that is not known",
    403: "No role for this",
    404: "Not in the book",
    409: "Contradicts an earlier fact, or the key was used for something else",
    413: "Over the limit",
    415: "Not JSON",
    422: "Refused; where names the fact in the way, mend what would put it right",
    429: "Too many requests",
    500: "The service failed",
    501: "Needs a part that is not installed here",
    503: "The store cannot be reached; nothing is lost, send it again with the same key",
}
_DESCRIPTION = (
    "Every answer to a refused request is problem+json with a stable code, and the mend where there is one. "
    "Requests that enter something carry an Idempotency-Key: the same on each retry."
)
LAG_HEADERS = {
    AS_OF: "Where a standby answered: all that was committed at this instant is in the answer",
    AGE: "Where a standby answered: at most how old that is, in seconds",
    SIZE: "Where a standby answered: the entries of the book that it showed; sent along, at least so many are shown",
}


class Description:
    """The document of a service, made when somebody first asks for it: it takes a tenth of a second."""

    def __init__(self, app: Litestar, title: str) -> None:
        """Of every described route of ``app``."""
        self._app = app
        self._title = title

    @cached_property
    def document(self) -> bytes:
        """OpenAPI 3.1."""
        return msgspec.json.encode(openapi_document(self._app, title=self._title))

    @cached_property
    def viewer_document(self) -> bytes:
        """The same in the terms of OpenAPI 3.0."""
        return msgspec.json.encode(older(openapi_document(self._app, title=self._title)))


def openapi_document(app: Litestar, *, title: str) -> dict[str, Any]:
    """The OpenAPI 3.1 document of every described route."""
    routes = [(route, handler, operation) for route, handler, operation in _described(app)]
    schemas = _schemas(operation for _, _, operation in routes)
    paths: dict[str, Any] = {}
    for route, handler, operation in routes:
        path = _TYPED.sub(r"{\1}", route.path)
        for method in sorted(handler.http_methods - {"OPTIONS"}):
            paths.setdefault(path, {})[method.lower()] = _operation(route, handler, operation, schemas)
    return {
        "openapi": "3.1.0",
        "info": {"title": title, "version": str(FORMAT), "description": _DESCRIPTION},
        "servers": [{"url": "/"}],
        "paths": dict(sorted(paths.items())),
        "components": {
            "schemas": schemas.components,
            "securitySchemes": {"bearer": {"type": "http", "scheme": "bearer"}},
        },
    }


def older(value: Any) -> Any:
    """A document, or a part of one, in the terms of OpenAPI 3.0."""
    if isinstance(value, list):
        return [older(member) for member in value]
    if not isinstance(value, dict):
        return value
    turned = {key: older(member) for key, member in value.items()}
    if turned.get("openapi") == "3.1.0":
        turned["openapi"] = "3.0.3"
    options = turned.get("anyOf")
    if isinstance(options, list) and {"type": "null"} in options:
        rest = [option for option in options if option != {"type": "null"}]
        del turned["anyOf"]
        turned |= {"allOf" if len(rest) == 1 else "anyOf": rest, "nullable": True}
    for bound, flag in (("minimum", "exclusiveMinimum"), ("maximum", "exclusiveMaximum")):
        if isinstance(turned.get(flag), int | float) and not isinstance(turned[flag], bool):
            turned |= {bound: turned[flag], flag: True}
    if "prefixItems" in turned:
        turned["items"] = {"anyOf": turned.pop("prefixItems")}
    if turned.get("required") == []:
        del turned["required"]
    if turned.get("items") is False:
        turned["items"] = {}
    return turned


class _Schemas:
    """The schemas of every type that the operations name, by reference."""

    def __init__(self, types: list[Any]) -> None:
        found, components = msgspec.json.schema_components(types, ref_template=_REF)
        self.components: dict[str, Any] = _portable(components)
        self._of = [(asked, _portable(schema)) for asked, schema in zip(types, found, strict=True)]

    def of(self, asked: Any) -> dict[str, Any]:
        """The schema, or reference, of a type."""
        return next(dict(schema) for known, schema in self._of if known is asked)

    def whole(self, asked: Any) -> dict[str, Any]:
        """The schema of a Struct itself, not a reference to it."""
        schema = self.of(asked)
        name = schema.get("$ref", "").rpartition("/")[2]
        return dict(self.components[name]) if name else schema


def _described(app: Litestar) -> Iterator[tuple[HTTPRoute, HTTPRouteHandler, Operation]]:
    for route in app.routes:
        if isinstance(route, HTTPRoute):
            for handler in route.route_handlers:
                operation = operation_of(handler)
                if operation is not None and not operation.page:
                    yield route, handler, operation


def _schemas(operations: Iterable[Operation]) -> _Schemas:
    types: list[Any] = [Problem, KeyText]
    for operation in operations:
        for asked in (operation.body, operation.query, operation.answer):
            if asked is not None and not any(known is asked for known in types):
                types.append(asked)
    return _Schemas(types)


def _operation(route: HTTPRoute, handler: HTTPRouteHandler, operation: Operation, schemas: _Schemas) -> dict[str, Any]:
    owner = handler.handler_name.rpartition(".")[2]
    described: dict[str, Any] = {
        "operationId": "-".join([*re.findall(r"[A-Za-z0-9]+", _TYPED.sub(r"\1", route.path)), owner]),
        "summary": operation.summary,
        "description": _roles_text(operation),
        "tags": [operation.tag],
        "parameters": [*_path_parameters(route), *_asked_parameters(operation, schemas)],
        "responses": _responses(operation, schemas),
        "security": [] if operation.action is None else [{"bearer": []}],
    }
    if operation.body is not None:
        described["requestBody"] = {
            "required": True,
            "content": {"application/json": {"schema": schemas.of(operation.body)}},
        }
    if operation.takes:
        described["requestBody"] = {"required": True, "content": {operation.takes: {"schema": {}}}}
    return described


def _roles_text(operation: Operation) -> str:
    if operation.action is None:
        return "Open to everyone." + (" Limited by address." if operation.limited else "")
    allowed = MAY_DO[operation.action]
    return "Roles: " + ", ".join(role for role in ROLES if role in allowed) + "."


def _path_parameters(route: HTTPRoute) -> list[dict[str, Any]]:
    kinds = {"int": {"type": "integer", "minimum": 0}}
    return [
        {"name": name, "in": "path", "required": True, "schema": kinds.get(kind, {"type": "string"})}
        for name, kind in _TYPED.findall(route.path)
    ]


def _asked_parameters(operation: Operation, schemas: _Schemas) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    if operation.query is not None:
        whole = schemas.whole(operation.query)
        required = set(whole.get("required", ()))
        for name, schema in whole["properties"].items():
            found.append({"name": name, "in": "query", "required": name in required, "schema": schema})
    if operation.keyed:
        key = {"name": "Idempotency-Key", "in": "header", "required": True, "schema": schemas.of(KeyText)}
        found.append(key)
    if operation.may_lag:
        found.append({"name": SIZE, "in": "header", "required": False, "schema": {"type": "integer", "minimum": 0}})
    return found


def _responses(operation: Operation, schemas: _Schemas) -> dict[str, Any]:
    answered: dict[str, Any] = {"description": operation.summary}
    if operation.media:
        schema = {"type": "string"} if operation.answer is None else schemas.of(operation.answer)
        answered["content"] = {operation.media.split(";")[0]: {"schema": schema}}
    if operation.may_lag:
        answered["headers"] = {
            name: {"description": words, "schema": {"type": "string"}} for name, words in LAG_HEADERS.items()
        }
    statuses = {*operation.problems, 500}
    if operation.body is not None:
        statuses |= {400, 413, 415}
    if operation.takes:
        statuses |= {400, 413}
    if operation.query is not None or operation.keyed:
        statuses.add(400)
    if operation.action is not None:
        statuses |= {401, 403, 503}
    problem = {MEDIA_TYPE: {"schema": schemas.of(Problem)}}
    responses = {str(operation.status): answered}
    if operation.keyed and operation.status == 201:
        responses["200"] = {**answered, "description": "The same as before: this key had been used for this request"}
    for status in sorted(statuses):
        title = _TITLES.get(status) or HTTP_CODES[status][1]
        responses[str(status)] = {"description": title, "content": problem}
    return responses


def _portable(value: Any) -> Any:
    """Patterns as ECMA 262 reads them: the end of text is ``$`` there."""
    if isinstance(value, list):
        return [_portable(member) for member in value]
    if isinstance(value, dict):
        return {
            key: member.replace(r"\Z", "$") if key == "pattern" and isinstance(member, str) else _portable(member)
            for key, member in value.items()
        }
    return value
