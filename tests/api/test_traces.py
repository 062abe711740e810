"""Traces of requests: what a span says, what it never says, and that nothing of it is loaded without the setting."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

from api.settings import Settings
from api.traces import Traces, traces_of
from ledger.errors import Unsupported
from tests.api.running import Service, engraved, running
from tests.plant import AT

WITHOUT = """
import sys
from api.app import create_app
from api.settings import Settings
from api.traces import traces_of

assert traces_of(Settings()) is None
print([name for name in sys.modules if name.startswith("opentelemetry")])
"""


@pytest.fixture(scope="module")
def told() -> Any:
    """An exporter that keeps spans in memory."""
    memory = pytest.importorskip(
        "opentelemetry.sdk.trace.export.in_memory_span_exporter", reason="package opentelemetry-sdk is not installed"
    )

    class Telling(memory.InMemorySpanExporter):  # type: ignore[misc,name-defined]  # its module is there or not
        """Tells whoever waits that spans have ended."""

        ended = threading.Condition()

        def export(self, spans: Any) -> Any:
            """Keep them, and tell."""
            with self.ended:
                result = super().export(spans)
                self.ended.notify_all()
            return result

    return Telling()


@pytest.fixture(scope="module")
def service(told: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose spans go to that exporter."""
    from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415  # installed, or the exporter were not there
    from opentelemetry.sdk.trace.export import SimpleSpanProcessor  # noqa: PLC0415  # as above

    provider = TracerProvider(shutdown_on_exit=False)
    provider.add_span_processor(SimpleSpanProcessor(told))
    with running(tmp_path_factory.mktemp("traced"), balls=1, traces=Traces(provider)) as one:
        yield one


@pytest.fixture
def spans(told: Any, service: Service) -> Any:
    """Gives the spans since the test began, once so many have ended: an answer may be there before its span has."""
    told.clear()

    def ended(count: int) -> dict[str, Any]:
        with told.ended:
            assert told.ended.wait_for(lambda: len(told.get_finished_spans()) >= count, 30)
        return {span.name: span for span in told.get_finished_spans()}

    return ended


def test_a_registration_is_a_span_with_the_wait_for_its_group_in_it(service: Service, spans: Any) -> None:
    """The request's span says route, method and status; the wait is its child."""
    assert 201 == service["station"].post("/balls", json=engraved(7), headers=service.key()).status_code
    found = spans(2)
    request, wait = found["POST /balls"], found["wait for the group"]
    assert {"http.request.method": "POST", "http.route": "/balls", "http.response.status_code": 201} == dict(
        request.attributes
    )
    assert (None, request.context.span_id) == (request.parent, wait.parent.span_id)
    assert request.context.trace_id == wait.context.trace_id
    assert request.start_time <= wait.start_time <= wait.end_time <= request.end_time


def test_a_span_says_no_path_no_query_and_no_token(service: Service, spans: Any) -> None:
    """Of a request for one ball with a query, by an account, the template of its route is told and nothing of itself."""
    service["quality"].get("/balls/U-000001?asked=Somebody")
    text = spans(1)["GET /balls/{unit}"].to_json()
    assert [] == [said for said in ("U-000001", "asked", "Somebody", service.tokens["quality"]) if said in text]


def test_a_refused_submission_tells_no_text_of_its_error(service: Service, spans: Any) -> None:
    """A refusal ends both spans without an event, and is no failure of the service."""
    refused = service["station"].post("/balls", json=engraved(8, lot="SL-SECRET"), headers=service.key())
    found = spans(2)
    assert 422 == refused.status_code == found["POST /balls"].attributes["http.response.status_code"]
    assert [] == [span.name for span in found.values() if span.events or "SECRET" in span.to_json()]
    assert {"UNSET"} == {span.status.status_code.name for span in found.values()}


def test_a_release_waits_in_a_span_too(service: Service, spans: Any) -> None:
    """What the book enters by other ways than a submission has its wait in the request's span as well."""
    plan = {"kind": "plan-set", "at": AT, "model": "M1", "windows": [], "inspect": [], "rulebooks": []}
    marked = {"kind": "unit-worked", "at": AT, "unit": "U-000001", "step": "cg-marked", "station": "E1"}
    assert (201, 201) == (service.say("quality", plan).status_code, service.say("station", marked).status_code)
    wanted = {"units": ["U-000001"], "grade": "prototype"}
    assert 201 == service["quality"].post("/releases", json=wanted, headers=service.key()).status_code
    found = spans(6)
    assert found["POST /releases"].context.span_id == found["wait for the group"].parent.span_id


def test_a_failure_is_an_error_and_an_unknown_address_has_no_route(
    service: Service, spans: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A 500 marks its span as an error, without a description; an address that is not served is the method alone."""
    monkeypatch.setattr(service.book, "standing", lambda: 1 / 0)
    assert 500 == service["quality"].get("/standing").status_code
    assert 404 == service.nobody.get("/Somebody").status_code
    found = spans(2)
    failed, unknown = found["GET /standing"], found["GET"]
    assert ("ERROR", None) == (failed.status.status_code.name, failed.status.description)
    assert {"http.request.method": "GET", "http.response.status_code": 404} == dict(unknown.attributes)


def test_spans_go_to_the_collector_that_is_set(tmp_path: Path) -> None:
    """By the setting alone, spans reach a collector over HTTP, at the latest when the service stops."""
    pytest.importorskip("opentelemetry.exporter.otlp.proto.http", reason="the extra traces is not installed")
    bodies: list[tuple[str, bytes]] = []

    class Collector(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            bodies.append((self.path, self.rfile.read(int(self.headers["content-length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, format: str, *args: Any) -> None:
            """Nothing."""

    with HTTPServer(("127.0.0.1", 0), Collector) as collector:
        thread = threading.Thread(target=collector.serve_forever)
        thread.start()
        traces = traces_of(Settings(traces=f"http://127.0.0.1:{collector.server_port}/v1/traces"))
        with running(tmp_path, traces=traces) as service:
            assert 200 == service.nobody.get("/live").status_code
        collector.shutdown()
        thread.join()
    assert {"/v1/traces"} == {path for path, _ in bodies}
    assert any(b"GET /live" in body and b"pourbook" in body for _, body in bodies)


def test_without_its_extra_the_setting_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """It names the setting and the extra, before the book is opened."""
    monkeypatch.setitem(sys.modules, "opentelemetry", None)
    with pytest.raises(Unsupported) as refused:
        traces_of(Settings(traces="http://127.0.0.1:4318/v1/traces"))
    assert ("POURBOOK_TRACES", True) == (refused.value.where, "extra traces" in refused.value.mend)


def test_without_the_setting_nothing_is_loaded(project: Path) -> None:
    """A service without traces loads none of their packages."""
    ran = subprocess.run([sys.executable, "-c", WITHOUT], cwd=project, capture_output=True, text=True, check=True)
    assert "[]\n" == ran.stdout
