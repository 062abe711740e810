"""Problem details: what a refused request is answered with (RFC 9457, ``application/problem+json``).

The format it owns::

    {"type": "/problems/<code>", "title": ..., "status": 422, "detail": ..., "code": "<code>",
     "where": <field, record or earlier fact>, "mend": <what would put it right>, "instance": <path asked>}

``code`` is stable and is what a program matches on; ``where`` and ``mend`` are left out where there is none.  One table
gives each class of `ledger.errors` its status; the class decides the code.  What is in no table is a 500 with an
incident id and no detail: its text goes to the service's own log alone.

It never raises: whatever an error holds, an answer comes out.
"""

import logging
import uuid
from http import HTTPStatus
from typing import Any, NamedTuple

import msgspec
from litestar import Request, Response
from litestar.exceptions import HTTPException

from api.pages import prefers_html
from api.standby import is_withheld
from ledger import errors
from ledger.errors import LedgerError

MEDIA_TYPE = "application/problem+json"
QUEUED = "x-queued"
"""The header by which the queue of a station's page says that a program reads the answer (`api.pages.stations.answers`)."""
INTERNAL = "internal-error"

STATUS_OF: dict[type[LedgerError], int] = {
    errors.MalformedInput: 400,
    errors.Unauthenticated: 401,
    errors.AccessDenied: 403,
    errors.NotFound: 404,
    errors.Contradiction: 409,
    errors.KeyReused: 409,
    errors.TooLarge: 413,
    errors.Refused: 422,
    errors.SignatureRejected: 422,
    errors.SealedFieldMismatch: 422,
    errors.DossierRejected: 422,
    errors.Unsupported: 501,
    errors.StoreError: 503,
}
"""The status of an error class and of those below it; the nearest class counts."""

HTTP_CODES: dict[int, tuple[str, str]] = {
    400: ("bad-request", "The request cannot be read."),
    404: ("no-such-address", "Nothing is served at this address."),
    405: ("method-not-allowed", "The address does not know this method."),
    413: ("too-large", "More than the stated limit."),
    415: ("unsupported-media-type", "The body is of a type that is not taken here."),
    429: ("too-many-requests", "More requests than the stated rate."),
}
"""Problems of HTTP itself: status to code and title."""

_HTTP_MENDS = {
    404: "look at /docs for the addresses that are served",
    405: "use one of the methods in the Allow header",
    413: "send less at once",
    415: "send the body as application/json",
    429: "wait as long as Retry-After says",
}

_log = logging.getLogger("pourbook")


class Problem(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One problem as answered. The first four are never left out."""

    type: str
    title: str
    status: int
    detail: str
    code: str
    instance: str = ""
    where: str = ""
    mend: str = ""
    incident: str = ""


class Explanation(msgspec.Struct, frozen=True, kw_only=True):
    """What ``/problems/{code}`` says about one code."""

    code: str
    status: int
    title: str
    meaning: str


class Answered(NamedTuple):
    """A problem and the headers that go with it."""

    problem: Problem
    headers: dict[str, str]


def status_of(error: LedgerError) -> int:
    """The status of an error of the tree; 500 where the table names neither its class nor one above it."""
    if isinstance(error, errors.WitnessRefused):
        return error.status
    for ancestor in type(error).__mro__:
        if ancestor in STATUS_OF:
            return STATUS_OF[ancestor]
    return 500


def problem_of(error: Exception, instance: str, route: str = "") -> Answered:
    """The problem of any exception. ``instance`` is the path asked for, ``route`` its template, which the log may hold."""
    if isinstance(error, LedgerError) and status_of(error) != 500:
        return _ledger_problem(error, instance, route)
    if isinstance(error, HTTPException) and error.status_code < 500:
        return _http_problem(error, instance)
    return _incident(error, instance, route)


def answer_problem(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """The response to a request that failed; registered for every exception. A page's is a page."""
    if is_withheld(request.scope):
        return Response(content=b"", status_code=503)
    problem, headers = problem_of(error, request.scope["path"], request.scope.get("path_template", ""))
    parts: Any = request.app.state.get("parts")
    if hasattr(parts, "delivery"):  # a witness counts nothing
        parts.delivery.counters.add_problem(problem.code)
    if is_for_people(request):
        # Pages are made of what this module describes.
        from api.pages.refusal import refusal  # noqa: PLC0415

        return refusal(request, problem, headers)
    return Response(
        content=msgspec.json.encode(problem), media_type=MEDIA_TYPE, status_code=problem.status, headers=headers
    )


def is_for_people(request: Request[Any, Any, Any]) -> bool:
    """Whether a request asked for a page: of one, or by a browser where nothing is served. A queue never does."""
    if request.headers.get(QUEUED):
        return False
    asked = request.scope.get("page")
    return bool(asked) if asked is not None else prefers_html(request)


def explanations() -> dict[str, Explanation]:
    """Every code that this service answers with, by code."""
    found = {
        code: Explanation(code=code, status=status, title=title, meaning=_HTTP_MENDS.get(status, ""))
        for status, (code, title) in HTTP_CODES.items()
    }
    for error in _below(LedgerError):
        status = _class_status(error)
        if status != 500:
            found[error.code] = Explanation(
                code=error.code, status=status, title=_title(error), meaning=" ".join((error.__doc__ or "").split())
            )
    found[INTERNAL] = Explanation(
        code=INTERNAL,
        status=500,
        title="The service failed.",
        meaning="The answer carries an incident id; the keeper finds the cause under it in the log.",
    )
    return found


def _below(error: type[LedgerError]) -> list[type[LedgerError]]:
    return [error, *(deeper for child in error.__subclasses__() for deeper in _below(child))]


def _class_status(error: type[LedgerError]) -> int:
    return next((STATUS_OF[ancestor] for ancestor in error.__mro__ if ancestor in STATUS_OF), 500)


def _title(error: type[LedgerError]) -> str:
    return (error.__doc__ or error.code).strip().split("\n", 1)[0]


def _ledger_problem(error: LedgerError, instance: str, route: str) -> Answered:
    status = status_of(error)
    headers = {}
    if status == 401:
        headers["www-authenticate"] = 'Bearer realm="pourbook"'
    if status == 503:
        headers["retry-after"] = "1"
        cause = type(error.__cause__).__name__ if error.__cause__ else ""
        said = {"status": status, "code": error.code, "route": route, "where": error.where, "cause": cause}
        _log.error("store: %s %s", error.problem, f"({cause})" if cause else "", extra=said)
    detail = error.problem
    if error.expected is not None:
        detail += f": expected {_text(error.expected)}"
    if error.got is not None:
        detail += f"{',' if error.expected is not None else ':'} got {_text(error.got)}"
    return Answered(
        Problem(
            type=f"/problems/{error.code}",
            title=_title(type(error)),
            status=status,
            detail=detail,
            code=error.code,
            instance=_text(instance),
            where=_text(error.where),
            mend=_text(error.mend),
        ),
        headers,
    )


def _http_problem(error: HTTPException, instance: str) -> Answered:
    status = error.status_code
    code, title = HTTP_CODES.get(status, ("bad-request", HTTPStatus(status).phrase))
    return Answered(
        Problem(
            type=f"/problems/{code}",
            title=title,
            status=status,
            detail=_text(error.detail),
            code=code,
            instance=_text(instance),
            mend=_HTTP_MENDS.get(status, ""),
        ),
        dict(error.headers or {}),
    )


def _incident(error: Exception, instance: str, route: str) -> Answered:
    incident = str(uuid.uuid4())
    said = {"status": 500, "code": INTERNAL, "incident": incident, "route": route}
    _log.error("incident %s at %s", incident, route or "a page", exc_info=error, extra=said)
    return Answered(
        Problem(
            type=f"/problems/{INTERNAL}",
            title="The service failed.",
            status=500,
            detail="nothing was recorded that was not acknowledged; the cause is in the service's log",
            code=INTERNAL,
            instance=_text(instance),
            incident=incident,
            mend="send it again with the same key; if it fails again, tell the keeper the incident id",
        ),
        {},
    )


def _text(value: object) -> str:
    """Text that can be encoded, whatever it came from; at most 300 characters."""
    try:
        text = value if isinstance(value, str) else repr(value)
    except Exception:  # noqa: BLE001  # a broken repr must not replace the problem
        text = f"<{type(value).__name__}>"
    return text[:300].encode("utf-8", "replace").decode()
