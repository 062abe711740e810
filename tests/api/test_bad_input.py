"""Bad input over HTTP: each kind of it gets its problem, and nothing is half-written."""

from __future__ import annotations

import json
import socket
from typing import Any

import httpx
import pytest

from tests.api.running import Service, engraved, running
from tests.plant import AT

WORKED = {"kind": "unit-worked", "at": AT, "unit": "U-000001", "step": "turned", "station": "E1"}


def post(service: Service, content: bytes | str, **headers: str) -> httpx.Response:
    """Post a body to the registration path as it is."""
    sent = {"content-type": "application/json", "idempotency-key": "bad-1", **headers}
    return service["quality"].post("/submissions", content=content, headers=sent)


@pytest.mark.parametrize(
    ("records", "where"),
    [
        ([{"kind": "nonsense", "at": AT}], "records[0].kind"),
        ([{"at": AT}], "records[0].kind"),
        ([WORKED, {"kind": "unit-worked", "at": AT, "unit": "U-000001", "step": "turned"}], "records[1].station"),
        ([{**WORKED, "unit": 7}], "records[0].unit"),
        ([{**WORKED, "unit": "small letters"}], "records[0].unit"),
        ([{**WORKED, "unti": "U-1"}], "records[0].unti"),
        ([{**WORKED, "at": "2026-03-02"}], "records[0].at"),
        ([{**WORKED, "at": "2026-02-30T08:00:00.000+00:00"}], "records[0].at"),
        ([{**WORKED, "step": None}], "records[0].step"),
        ([], "records"),
        ([WORKED] * 501, "records"),
        ("records", "records"),
    ],
)
def test_a_wrong_field_is_named(service: Service, records: Any, where: str) -> None:
    """A record that does not fit its kind is a 400 that names the field and says what to do."""
    answer = post(service, json.dumps({"records": records}))
    problem = answer.json()

    assert (400, where) == (answer.status_code, problem["where"])
    assert problem["mend"]


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b"17", b'"text"', b"\xff\xfe", b'{"records": [\xc3\x28]}', b"[" * 100_000, b"{}",
        b'{"records": [], "more": 1}', b'{"records": [NaN]}', b'\xef\xbb\xbf{"records": []}',
        b'{"records": [{"kind": "lot-closed", "at": "x", "lot": "\\ud800"}]}',
    ],
)  # fmt: skip
def test_what_is_no_request_is_a_400(service: Service, body: bytes) -> None:
    """Bytes that are no JSON, or JSON of another shape, are malformed input, never a failure of the service."""
    answer = post(service, body)

    assert (400, "application/problem+json") == (answer.status_code, answer.headers["content-type"])


def test_a_field_said_twice_is_refused(service: Service) -> None:
    """Two values of one field contradict each other; neither is taken."""
    record = json.dumps(WORKED).replace('"unit"', '"unit": "U-2", "unit"')
    answer = post(service, '{"records": [' + record + "]}")

    assert (400, "unit") == (answer.status_code, answer.json()["where"])


def test_text_that_is_not_normal_is_refused(service: Service) -> None:
    """Text outside Unicode normalization form C is refused, not repaired."""
    answer = post(service, json.dumps({"records": [{**WORKED, "note": "e\u0301"}]}))

    assert (400, "malformed-canonical") == (answer.status_code, answer.json()["code"])


@pytest.mark.parametrize("sent", ["text/plain", "", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_only_json_is_taken(service: Service, sent: str) -> None:
    """A body of another type is a 415, whatever is in it."""
    answer = post(service, json.dumps({"records": [WORKED]}), **{"content-type": sent})

    assert (415, "unsupported-media-type") == (answer.status_code, answer.json()["code"])


@pytest.mark.parametrize("key", [None, "", "with space", "ü", "x" * 101, "-starts", '"open'])
def test_a_key_must_come_along(service: Service, key: str | None) -> None:
    """Without a well-formed idempotency key nothing is entered, and the problem names the header."""
    headers: dict[bytes, bytes] = {} if key is None else {b"idempotency-key": key.encode()}
    for path, body in (("/submissions", {"records": [WORKED]}), ("/balls", engraved(900))):
        answer = service["quality"].post(path, json=body, headers=headers)
        assert (400, "Idempotency-Key") == (answer.status_code, answer.json()["where"])


def test_a_huge_body_is_a_413(service: Service) -> None:
    """A body over the limit is refused by its stated length, and by its true one when none is stated."""
    huge = b" " * 1_000_001
    stated = post(service, huge)
    unstated = service["quality"].post(
        "/submissions",
        content=iter([huge[:600_000], huge[600_000:]]),
        headers={"content-type": "application/json", "idempotency-key": "bad-2"},
    )

    assert [(413, "too-large")] * 2 == [(one.status_code, one.json()["code"]) for one in (stated, unstated)]


def test_an_entry_that_would_be_too_large_is_a_413(service: Service) -> None:
    """Records whose entry would pass 65,535 bytes are refused; fewer at once are taken."""
    answer = post(service, json.dumps({"records": [{**WORKED, "note": "n" * 2000}] * 40}))

    assert (413, "too-large") == (answer.status_code, answer.json()["code"])


def test_a_repeated_name_in_the_query_is_refused(service: Service) -> None:
    """A parameter given twice, one that is unknown, and one of another type are named."""
    asked = ["serial=A&serial=B", "serial=A&serail=B", "", "serial=" + "A" * 41]
    answers = [service["desk"].get(f"/balls?{query}") for query in asked]

    assert [400] * 4 == [answer.status_code for answer in answers]
    assert ["serial", "serail", "serial", "serial"] == [answer.json()["where"] for answer in answers]


@pytest.mark.parametrize(
    ("path", "where"),
    [
        ("/conformity?rulebook=ibf&from_on=2026-02-30", "from_on"),
        ("/conformity?rulebook=ibf&from_on=yesterday", "from_on"),
        ("/conformity?rulebook=ibf&listed=1001", "listed"),
        ("/conformity?rulebook=ibf&listed=some", "listed"),
        ("/conformity", "rulebook"),
        ("/consistency?old=-1&new=2", "old"),
        ("/consistency?old=1&new=18446744073709551616", "new"),
        ("/balls/U-000001/label.png?dpi=72", "dpi"),
        ("/warranty?serial=P000001&bought_on=2026-13-01", "bought_on"),
    ],
)
def test_a_wrong_parameter_is_named(service: Service, path: str, where: str) -> None:
    """A query value that is out of range or no such thing is a 400 that names it."""
    answer = service["quality"].get(path)

    assert (400, where) == (answer.status_code, answer.json()["where"])


@pytest.mark.parametrize(
    "path",
    [
        "/balls/U-404", "/balls/U-404/label.svg", "/balls/U-404/label.png", "/lots/L-404", "/lots/L-404/above",
        "/lots/L-404/below", "/lots/L-404/traveller.pdf", "/receipts/999999", "/entries/999999", "/entries/999999/bytes",
        f"/entries/{2**63}", f"/receipts/{2**70}", "/conformity?rulebook=none", "/problems/none", "/static/none.css",
        "/tile/0/999", "/tile/5/000", "/tile/entries/999", "/balls/%00", "/balls/a%2Fb", "/lots/%C3%28", "/balls/" + "x" * 3000,
    ],
)  # fmt: skip
def test_what_the_book_does_not_hold_is_a_404(service: Service, path: str) -> None:
    """A question about something unknown is a 404 with its code, whatever was typed."""
    answer = service["quality"].get(path)

    assert (404, "application/problem+json") == (answer.status_code, answer.headers["content-type"]), answer.text


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("GET", "/no/such/address", 404), ("PUT", "/submissions", 405), ("DELETE", "/balls", 405), ("POST", "/", 405)],
)
def test_unknown_addresses_and_methods_are_problems(service: Service, method: str, path: str, status: int) -> None:
    """An unknown address or method gets a problem of the same form as any other."""
    answer = service["quality"].request(method, path)

    assert (status, status) == (answer.status_code, answer.json()["status"])
    assert service.nobody.get(answer.json()["type"]).json()["status"] == status


def test_a_contradiction_names_the_earlier_fact(service: Service) -> None:
    """A unit that is in the book already is a 409 that names it."""
    answer = service["station"].post("/balls", json=engraved(1, serial="P999999"), headers=service.key())

    assert (409, "contradiction") == (answer.status_code, answer.json()["code"])
    assert "P000001" in answer.json()["detail"]


def test_nothing_is_taken_from_a_broken_off_request(service: Service) -> None:
    """A request whose connection ends in the middle of its body enters nothing, and the service goes on."""
    host, port = service.url.removeprefix("http://").split(":")
    before = service["quality"].get("/standing").json()["entries"]
    with socket.create_connection((host, int(port))) as broken:
        broken.sendall(
            f"POST /submissions HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {service.tokens['quality']}\r\n"
            "content-type: application/json\r\nidempotency-key: broken\r\ncontent-length: 900\r\n\r\n"
            '{"records": [{"kind": "lot-closed"'.encode()
        )

    assert before == service["quality"].get("/standing").json()["entries"]


def test_a_stopped_writer_is_a_503(tmp_path: Any) -> None:
    """When nothing can be entered any more, the answer says so, and that the same key may be sent again."""
    with running(tmp_path) as service:
        service.book._writer.stop()
        answer = service.say("quality", WORKED)

    assert (503, "writer-stopped", "1") == (answer.status_code, answer.json()["code"], answer.headers["retry-after"])
