"""What a route says about itself: who may call it, what it takes, what it answers.

One description stands beside each handler, in its ``opt``.  The guard reads the action from it and the OpenAPI document
is made from it, so neither can say anything else than the other.
"""

from typing import Any, NamedTuple

from litestar.handlers.base import BaseRouteHandler

_KEY = "operation"


class Operation(NamedTuple):
    """One operation. ``action`` names a row of `ledger.access.roles.MAY_DO`; None: no account is needed.

    ``body`` and ``answer`` are types that msgspec can write a schema for; ``query`` is a Struct of optional fields.
    ``takes`` is the type of a body that is bytes and not JSON.
    ``media`` is the type of the answer; ``keyed`` says that an ``Idempotency-Key`` header must come along.
    ``page``: a person's page; left out of the OpenAPI document, opened by the cookie of a browser (`api.guards`), and
    refused as a page too.
    ``may_lag``: what it shows may come from a standby, and says how old it is (`api.standby`); never for what decides who
    may see something.
    """

    summary: str
    tag: str
    action: str | None = None
    body: Any = None
    takes: str = ""
    query: Any = None
    answer: Any = None
    media: str = "application/json"
    keyed: bool = False
    problems: tuple[int, ...] = ()
    status: int = 200
    limited: bool = False
    page: bool = False
    may_lag: bool = False


def described(operation: Operation) -> dict[str, Any]:
    """The ``opt`` of a handler."""
    return {_KEY: operation}


def operation_of(handler: BaseRouteHandler) -> Operation | None:
    """The description of a handler; None for one of the framework's own."""
    found = handler.opt.get(_KEY)
    return found if isinstance(found, Operation) else None
