"""Whatever is sent to a service: a problem that says what is wrong, never a failure, and nothing half-written."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import httpx
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book.checkpoint import parse_checkpoint
from ledger.line.vocabulary import RECORD_OF
from tests.plant import AT, registration
from tests.stores import fresh_file
from tests.whole.serving import Premises, new_premises, served

PATHS = ("/submissions", "/balls", "/serials", "/releases", "/ask", "/conformity", "/dossiers", "/labels/sheet.pdf")
FIELDS = (
    "kind", "at", "unit", "lot", "serial", "station", "readings", "count", "units", "began_at", "batches", "values", "gauge",
    "quantity", "changes", "fact", "replacement", "hold", "node", "stops", "weight_class", "note", "records", "from_lots",
)  # fmt: skip
VALUES = (
    "SL-1",
    "U-1",
    "lot:SL-1",
    AT,
    "1.0",
    "0.0",
    "P000001",
    "mass",
    "lb",
    "E1",
    "a" * 64,
    "\u0000",
    "e\u0301",
    "-0",
)

words = st.sampled_from(VALUES) | st.text(max_size=12)
json_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | words,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(FIELDS) | words, inner, max_size=6),
    max_leaves=20,
)
records = st.builds(
    lambda kind, rest: {**rest, "kind": kind, "at": rest.get("at", AT)},
    st.sampled_from(sorted(RECORD_OF)),
    st.dictionaries(st.sampled_from(FIELDS), json_values, max_size=8),
)


@pytest.fixture(scope="module")
def premises(tmp_path_factory: pytest.TempPathFactory) -> Premises:
    """A book with a line and one ball."""
    folder = tmp_path_factory.mktemp("bad")
    return new_premises(folder, fresh_file(folder))


@pytest.fixture(scope="module")
def client(premises: Premises) -> Iterator[httpx.Client]:
    """A client of a service over it that may say everything."""
    headers = {"authorization": f"Bearer {premises.token}", "content-type": "application/json"}
    with served(premises) as address, httpx.Client(base_url=address, headers=headers, timeout=60) as opened:
        ball = json.dumps({"records": registered(1)})
        assert 201 == opened.post("/submissions", content=ball, headers={"idempotency-key": "ball-1"}).status_code
        yield opened


def registered(number: int) -> list[dict[str, Any]]:
    """The records of a good registration."""
    return [msgspec.to_builtins(record) for record in registration(number).records]


def size(client: httpx.Client) -> int:
    """How many entries the book has."""
    return parse_checkpoint(client.get("/checkpoint").content).tree_size


def refused(client: httpx.Client, path: str, content: bytes, key: str = "bad") -> None:
    """Post something that is no good: the answer is a problem of the caller's making, and the head stays."""
    before = size(client)
    answer = client.post(path, content=content, headers={"idempotency-key": key})
    assert 400 <= answer.status_code < 500, (answer.status_code, answer.text[:300])
    problem = answer.json()
    assert "application/problem+json" == answer.headers["content-type"].split(";")[0]
    assert (answer.status_code, f"/problems/{problem['code']}") == (problem["status"], problem["type"])
    assert "Traceback" not in answer.text
    assert size(client) == before


@settings(max_examples=60)
@given(path=st.sampled_from(PATHS), content=st.binary(max_size=60))
def test_bytes_that_are_no_json_are_refused(client: httpx.Client, path: str, content: bytes) -> None:
    """Arbitrary bytes never fail the service, and enter nothing."""
    refused(client, path, b"\xff" + content)


@settings(max_examples=120)
@given(path=st.sampled_from(PATHS), body=json_values)
def test_json_of_any_shape_is_refused(client: httpx.Client, path: str, body: Any) -> None:
    """JSON that is not the body of the route never fails the service, and enters nothing."""
    refused(client, path, json.dumps(body).encode())


@settings(max_examples=250)
@given(said=st.lists(records, min_size=1, max_size=3))
def test_records_that_do_not_fit_are_refused(client: httpx.Client, said: list[dict[str, Any]]) -> None:
    """Records of every kind with fields at random never fail the service; a good ball said with them is not entered."""
    refused(client, "/submissions", json.dumps({"records": [*registered(2), *said, {"kind": "no-such-kind"}]}).encode())
    refused(client, "/submissions", json.dumps({"records": [*registered(2), *said, registered(1)[0]]}).encode())


@settings(max_examples=80)
@given(place=st.integers(0, 10**6), change=st.integers(1, 255))
def test_a_good_body_with_one_changed_byte_never_fails(client: httpx.Client, place: int, change: int) -> None:
    """Whatever byte of a good registration is changed, it is entered as it now is, or refused; never half."""
    content = bytearray(json.dumps({"records": registered(3)}).encode())
    content[place % len(content)] ^= change
    before = size(client)
    answer = client.post(
        "/submissions", content=bytes(content), headers={"idempotency-key": f"changed-{place}-{change}"}
    )
    assert answer.status_code in {200, 201, 400, 404, 409, 422}
    assert size(client) - before == (answer.status_code == 201)


@settings(max_examples=80)
@given(
    path=st.text(st.characters(codec="utf-8"), max_size=20),
    query=st.dictionaries(words, words, max_size=3),
)
def test_any_address_is_answered(client: httpx.Client, path: str, query: dict[str, str]) -> None:
    """Whatever is asked for, by whatever name, the service does not fail."""
    for stem in ("/", "/balls/", "/lots/", "/01/", "/receipts/", "/tile/", "/entries/", "/problems/", "/conformity"):
        url = httpx.URL(client.base_url.join(stem), params=query)
        raw = stem.encode() + "".join(f"%{byte:02x}" for byte in path.encode()).encode()
        answer = client.get(url.copy_with(raw_path=raw + (b"?" + url.query if url.query else b"")))
        assert answer.status_code < 500, answer.text[:300]


def test_the_book_is_whole_after_all_that(premises: Premises, client: httpx.Client) -> None:
    """The book checks in the end, and the service still registers."""
    ball = json.dumps({"records": registered(4)})
    assert 201 == client.post("/submissions", content=ball, headers={"idempotency-key": "ball-4"}).status_code
    premises.check()
