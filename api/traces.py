"""Traces by setting (``POURBOOK_TRACES``, the extra traces): a span for each request, and one in it for its group.

A span says the template of the route, the method and the status; no path, no query, no account, no text of an error.  A
request's span holds another while its submission waits for the group that enters it.  What callers send about traces
of their own is not read: most callers are strangers.

Without the setting nothing of this is loaded, and no request passes through here.
"""

from contextlib import AbstractContextManager
from typing import Any

from api.settings import Settings
from ledger.errors import Unsupported

EXPORT_S = 5
"""How long a collector may take for one delivery, and a stop may wait for the last, in seconds."""


class Traces:
    """Spans of one service, given to a provider of the OpenTelemetry SDK."""

    def __init__(self, provider: Any) -> None:
        """``provider``: a ``TracerProvider``; it is shut down by ``close``."""
        trace = _packages()[0]
        self._provider = provider
        self._tracer = provider.get_tracer("pourbook")
        self._server, self._failed = trace.SpanKind.SERVER, trace.StatusCode.ERROR

    def request(self, method: str) -> AbstractContextManager[Any]:
        """A request's span, which the handler runs in."""
        return self._span(method, kind=self._server, attributes={"http.request.method": method})

    def waiting(self) -> AbstractContextManager[Any]:
        """The span of the wait for a group."""
        return self._span("wait for the group")

    def answered(self, span: Any, method: str, route: str, status: int) -> None:
        """Say of a request's span what became of it; ``status`` 0: the connection ended without an answer."""
        if route:
            span.update_name(f"{method} {route}")
            span.set_attribute("http.route", route)
        if status:
            span.set_attribute("http.response.status_code", status)
        if not status or status >= 500:
            span.set_status(self._failed)

    def close(self) -> None:
        """Deliver what waits, and end. May block for `EXPORT_S`."""
        self._provider.shutdown()

    def _span(self, name: str, **options: Any) -> AbstractContextManager[Any]:
        # The text of an exception may quote what was typed.
        span: AbstractContextManager[Any] = self._tracer.start_as_current_span(
            name, record_exception=False, set_status_on_exception=False, **options
        )
        return span


class Traced:
    """An application whose every request has a span; one that came as HEAD is told as the GET that answers it."""

    def __init__(self, app: Any, traces: Traces) -> None:
        """Stand in front of ``app``."""
        self._app = app
        self._traces = traces

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One ASGI call."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        status = 0

        async def noting(message: Any) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        with self._traces.request(scope["method"]) as span:
            try:
                await self._app(scope, receive, noting)
            finally:
                self._traces.answered(span, scope["method"], scope.get("path_template", ""), status)


def traces_of(settings: Settings) -> Traces | None:
    """Traces to the collector that the settings name; None where they name none. Raises Unsupported."""
    if not settings.traces:
        return None
    _, sdk, export, resources, otlp = _packages(exporting=True)
    provider = sdk.TracerProvider(
        resource=resources.Resource.create({"service.name": "pourbook"}), shutdown_on_exit=False
    )
    exporter = otlp.OTLPSpanExporter(endpoint=settings.traces, timeout=EXPORT_S)
    provider.add_span_processor(export.BatchSpanProcessor(exporter))
    return Traces(provider)


def _packages(*, exporting: bool = False) -> tuple[Any, ...]:
    """The modules of the extra: the API alone, or all that exporting takes. Raises Unsupported."""
    try:
        from opentelemetry import trace  # noqa: PLC0415  # of an extra: a service without it must start

        if not exporting:
            return (trace,)
        from opentelemetry.exporter.otlp.proto.http import trace_exporter  # noqa: PLC0415  # as above
        from opentelemetry.sdk import resources  # noqa: PLC0415  # as above
        from opentelemetry.sdk import trace as sdk  # noqa: PLC0415  # as above
        from opentelemetry.sdk.trace import export  # noqa: PLC0415  # as above
    except ImportError as error:
        raise Unsupported(
            "traces need packages that are not installed",
            where="POURBOOK_TRACES",
            mend="install pourbook with the extra traces",
        ) from error
    return trace, sdk, export, resources, trace_exporter
