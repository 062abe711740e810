"""No statement of the hot paths goes through a table that grows with the balls: asked of the databases' own planners."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import wait
from contextlib import closing, contextmanager
from typing import NamedTuple

import psycopg
import pytest

from api.app import create_app
from api.delivery import Delivery
from api.server import serving
from api.settings import Settings
from ledger.application.pourbook import Pourbook
from ledger.application.sign_in import set_password
from ledger.store.leases import end_lease, take_lease
from ledger.store.triggers import NEXT_INDEX
from tests.api.running import Service
from tests.application.floor import OFFICE, Floor, at, engraved, inspected
from tests.contracts.grown_plant import grown_plant, serial_of, serving_book, unit_of
from tests.contracts.statement_record import (
    Recorded,
    Statement,
    explained,
    nodes_of,
    partial_indexes,
    plans_in_use,
    recorded,
    scans_of,
    sqlite_scans,
)
from tests.pages.forms_sent import PASSWORD, Browser
from tests.plant import said
from tests.stores import fresh_database, fresh_file

NAME = "Over HTTP"

SMALL = {
    "account": "people and stations of one plant",
    "alembic_version": "one row",
    "head": "one row",
    "setting": "values of the store, some ten",
    "model": "models of one plant",
    "plan": "one a model and change of it",
    "approval": "one a model and body",
    "rulebook": "editions adopted",
    "checklist": "checklists adopted",
    "gauge": "gauges of one plant",
    "gauge_set": "sets of gauges that are used together",
    "plant_rules": "one a change of the plant's own limits",
    "release_policy": "one a change of the policy",
    "book_key": "keys of the book",
    "failure_mode": "words for faults",
    "warranty_terms": "editions of the terms",
    "manner": "ways of reading, a few a station",
    "sign_in": "names that failed to sign in and have not signed in since",
    "device": "devices of stations",
    "session": "people who are signed in; old ones are deleted",
    "calibration": "one a calibration of a gauge",
    "gauge_study": "one a study of a gauge",
    "consignee": "those who get balls",
    "case": "cases that somebody opened",
    "erased_blob": "files of claims that were erased, which a dossier reads",
    "witness_standing": "one a witness",
    "published": "one a publication, and those that stand beside it are deleted in time",
}
"""Tables that do not grow with the balls, and may be read whole, with what they hold."""

LARGE = {"entry", "request", "unit", "measured", "fact", "about", "serial", "gauge_use"}
"""Tables that are large enough in this plant for a planner to have to choose."""

COUNTS = tuple(
    f'SELECT "{column}", count(*) FROM "{table}" GROUP BY'  # noqa: S608  # the beginnings of statements, not run
    for table, column in (
        ("fact", "kind"), ("lot", "stage"), ("unit", "state"), ("unit", "grade"), ("breach", "code"), ("claim", "state")
    )
)  # fmt: skip
"""How the plant stands is counted over the whole book when somebody asks (`/standing`): one pass over an index each."""


class Asked(NamedTuple):
    """What the hot paths ran on a database, and where that is."""

    statements: Recorded
    address: str


@contextmanager
def _service(floor: Floor) -> Iterator[tuple[Pourbook, Service, Browser]]:
    """A service over the plant's book: the book, a client with a token, and a browser that signed in by the form."""
    delivery = Delivery()
    book = serving_book(floor, delivery)
    lead, token = book.open_account(NAME, OFFICE)
    set_password(book.store, lead.account, PASSWORD, floor.now_ms, must_change=False)
    settings = Settings(token_memory_s=0.0, long_reads=0, public_per_minute=60_000, public_burst=10_000)
    with serving(create_app(book, settings, delivery)) as address:
        service = Service(address, book, {"lead": token}, lead)
        browser = Browser(service)
        with closing(service), closing(browser):
            assert 303 == browser.sign_in(NAME).status_code
            yield book, service, browser


def _registered(book: Pourbook, floor: Floor, first: int, count: int) -> None:
    """Balls of a lot that is not sold, said together, so that they become a group or two."""
    waiting = []
    for number in range(first, first + count):
        unit = unit_of(9_000 + number)
        ball = engraved(unit, serial_of(9_000 + number), 75, lot="SL-250")
        waiting.append(book.submit(said(f"hot-{number}", ball, inspected(unit, 76, mass="15.1")), floor.lead))
    wait(waiting, 120)
    assert [None] * count == [one.exception() for one in waiting]


def _look(service: Service, browser: Browser) -> None:
    """Each question of the hot paths, once over JSON or as its page."""
    unit, serial, sold = unit_of(2_000), serial_of(2_000), serial_of(3)
    asked = [
        f"/balls/{unit}", f"/find?serial={serial}", f"/balls?serial={serial}", f"/01/09521234543213/21/{serial}",
        "/receipts/900", "/entries/900", "/entries/900/bytes", "/checkpoint", "/lots/SL-166", "/lots/BL-166/below",
        "/lots/BL-166/above", "/lots/SL-166/above", "/lots/DRUM/below", "/claims", "/claims/C-3",
        f"/warranty?serial={sold}", "/claims/C-3/answer", "/standing", "/holds", f"/conformity?unit={unit}&rulebook=usbc-2026",
        f"/balls/{unit}/label.svg", "/metrics", "/ready", "/tile/entries/003", "/tile/0/003",
        "/suspects?sort=shell-lot&name=SL-3",
    ]  # fmt: skip
    pages = [
        f"/ball/{unit}", "/lot/SL-166", "/lot/BL-166/below", "/trace/BL-166", "/trace/DRUM",
        "/book", "/book/entries", "/book/entries?lot=SL-166", "/book/entry/900", "/desk", f"/desk?q={sold}", "/desk/claims",
        "/desk/claim/C-3", "/account", "/station", "/station/engraving?lot=SL-166", f"/station/inspection?unit={unit}",
        "/shipment", "/", "/containment",
    ]  # fmt: skip
    answers = [(address, service["lead"].get(address).status_code) for address in asked]
    answers += [(address, browser.open(address).status_code) for address in pages]
    answers.append(("/dossiers", service["lead"].post("/dossiers", json={"serials": [serial]}).status_code))
    assert [] == [answer for answer in answers if answer[1] != 200]


def _run(floor: Floor) -> None:
    """All that is hot, with the service's own start and end."""
    with _service(floor) as (book, service, browser):
        _registered(book, floor, 0, 3)
        _registered(book, floor, 3, 1)
        shipped = {"kind": "shipment", "shipment": "SH-HOT", "units": [unit_of(9_000)], "consignee": "a shop"}
        book.submit(said("hot-s", {**shipped, "purpose": "test", "at": at(1_600)}), floor.lead).result(60)
        claimed = {
            "kind": "claim-opened",
            "claim": "C-HOT",
            "mode": "crack-over-block",
            "serial": serial_of(4),
            "at": at(1_600),
        }
        book.submit(said("hot-c", claimed), floor.lead).result(60)
        assert take_lease(book.store, "plans", "this test", floor.now_ms, 1_000)
        end_lease(book.store, "plans", "this test")
        _look(service, browser)


@pytest.fixture(scope="module")
def on_postgres(postgres: str, tmp_path_factory: pytest.TempPathFactory) -> Asked:
    """What ran on PostgreSQL, whose tables are as its own upkeep leaves them."""
    url = fresh_database(postgres)
    floor = grown_plant(tmp_path_factory.mktemp("grown"), url)
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("VACUUM (ANALYZE)")
    with recorded() as found:
        _run(floor)
    found["trigger"] = Statement(f"SELECT {NEXT_INDEX}", ())
    return Asked(found, url)


@pytest.fixture(scope="module")
def on_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Asked:
    """What ran on SQLite, which has no statistics, as in use."""
    folder = tmp_path_factory.mktemp("grown")
    url = fresh_file(folder)
    floor = grown_plant(folder, url)
    with recorded() as found:
        _run(floor)
    return Asked(found, url.removeprefix("sqlite:///"))


def _is_count(text: str) -> bool:
    return any(text.startswith(count) for count in COUNTS)


def _by_statement(scans: dict[str, set[str]]) -> dict[str, set[str]]:
    """The statements that go through some table, with its name."""
    return {text: tables for text, tables in scans.items() if tables}


def test_postgres_scans_no_large_table_as_it_plans_in_use(on_postgres: Asked) -> None:
    """For the values, and for any values where it would come to that; a table of a few pages is rightly read whole."""
    with psycopg.connect(on_postgres.address, autocommit=True) as connection:
        partial = partial_indexes(connection)
        scans = {
            text: {
                scan.table
                for plan in plans_in_use(connection, statement)
                for scan in scans_of(plan, partial)
                if scan.table in LARGE and not scan.ends and not _is_count(text)
            }
            for text, statement in on_postgres.statements.items()
        }
    assert {} == _by_statement(scans)


def test_postgres_has_an_index_for_every_statement(on_postgres: Asked) -> None:
    """Where it is to scan nothing if it can help it, it looks up what it wants of every table that may grow.

    It may still go along an index for the sake of the order in a small plant, so it is asked a second time without that.
    """
    with psycopg.connect(on_postgres.address, autocommit=True) as connection:
        partial, scans = partial_indexes(connection), dict[str, set[str]]()
        for text, statement in on_postgres.statements.items():
            found = []
            for settings in ({"enable_seqscan"}, {"enable_seqscan", "enable_indexscan", "enable_indexonlyscan"}):
                for setting in settings:
                    connection.execute(f"SET {setting} = off".encode())
                plan = explained(connection, statement, generic=True)
                found.append({scan.table for scan in scans_of(plan, partial) if not scan.ends})
                connection.execute("RESET ALL")
            scans[text] = (found[0] & found[1]) - SMALL.keys() if not _is_count(text) else set()
    assert {} == _by_statement(scans)


def test_postgres_counts_the_whole_book_from_indexes_alone(on_postgres: Asked) -> None:
    """What has to be counted whole is read from an index, and not from the rows."""
    with psycopg.connect(on_postgres.address, autocommit=True) as connection:
        counts = {text: one for text, one in on_postgres.statements.items() if _is_count(text)}
        kinds = {
            node["Node Type"]
            for statement in counts.values()
            for plan in plans_in_use(connection, statement)
            for node in nodes_of(plan)
            if node.get("Relation Name") in LARGE
        }
    assert (len(COUNTS), {"Index Only Scan"}) == (len(counts), kinds)


def test_sqlite_scans_no_table_that_grows(on_sqlite: Asked) -> None:
    """Its plan for every statement looks rows up, but in the small tables and where the whole book is counted."""
    with closing(sqlite3.connect(on_sqlite.address)) as connection:
        scans = {
            text: {scan.table for scan in sqlite_scans(connection, statement) if not scan.ends} - SMALL.keys()
            for text, statement in on_sqlite.statements.items()
            if not _is_count(text)
        }
        counted = [
            detail
            for text in on_sqlite.statements
            if _is_count(text)
            for *_, detail in connection.execute(f"EXPLAIN QUERY PLAN {text}")
            if detail.startswith("SCAN")
        ]
    assert {} == _by_statement(scans)
    assert len(COUNTS) == len(counted)
    assert [] == [detail for detail in counted if "USING COVERING INDEX" not in detail]
