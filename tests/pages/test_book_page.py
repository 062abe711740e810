"""The page of the book: its figures are the application's, a damaged book is said in words, and who may see what."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from html import unescape
from pathlib import Path

import pytest

from ledger.book.checkpoint import parse_checkpoint, sign_checkpoint
from ledger.book.signing import signer_from_seed
from ledger.store.cosignatures import Cosignature, put_cosignature
from tests.api.running import ROLES, SIGNERS, Service, running
from tests.pages.forms_sent import Browser, give_password
from tests.plant import ORIGIN, registration
from tests.whole.damage import drop_triggers

Opens = Callable[[str], Browser]

BALLS = 4
MAY_CHECK = ("quality", "auditor", "admin")


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A running service where everyone has a password, with a copy of its checkpoint in a second place."""
    with running(tmp_path, balls=BALLS, checkpoint_copy=str(tmp_path / "second.txt")) as one:
        for role in ROLES:
            give_password(one, role)
        yield one


@pytest.fixture
def browser_of(service: Service) -> Iterator[Opens]:
    """Opens a browser in which a role has signed in, or nobody; closed at the end."""
    opened: list[Browser] = []

    def browser_for(role: str) -> Browser:
        browser = Browser(service)
        opened.append(browser)
        if role:
            browser.sign_in(f"The {role}")
        return browser

    yield browser_for
    for browser in opened:
        browser.close()


def words(page: str) -> str:
    """The text of a page, as it is read."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def checked(browser: Browser) -> str:
    """Have the book checked, and read what came of it."""
    browser.open("/book")
    answer = browser.send("/book/check")
    assert 303 == answer.status_code
    page = browser.open(answer.headers["location"])
    while "data-live" in page.text:
        page = browser.open(answer.headers["location"])
    return words(page.text)


def test_the_statement_says_what_is_and_what_is_not(service: Service, browser_of: Opens, tmp_path: Path) -> None:
    """Entries, the checkpoint's size and key are the book's; no check, no witness, no copy, no backup are said as such."""
    lead = browser_of("quality")
    said = words(lead.open("/book").text)
    head = parse_checkpoint(service.book.checkpoint())
    key = SIGNERS.checkpoint.verifier.key_id.hex()

    assert f"{head.tree_size} entries stand in the book" in said
    assert f"The newest checkpoint covers {head.tree_size} entries and is signed by the book's key {key}." in said
    for none in ("No check of the whole book is on record.", "No witness has signed", "No backup is on record."):
        assert none in said
    assert "The copy of the checkpoint in the second place is no use: No such file or directory." in said
    (tmp_path / "second.txt").write_bytes(service.book.checkpoint())
    service.book.submit(registration(BALLS + 1), service.keeper).result()
    later = words(lead.open("/book").text)
    assert f"The copy of the checkpoint is of {head.tree_size} entries" in later
    assert "1 entry came after it" in later
    stranger = signer_from_seed("other.example", bytes(32))
    (tmp_path / "second.txt").write_bytes(sign_checkpoint("other.example", 5, bytes(32), [stranger]))
    assert "no use: " in words(lead.open("/book").text)


def test_a_witness_is_named_with_its_size(service: Service, browser_of: Opens) -> None:
    """Where a witness signed, it stands there with the entries that it signed for; one beside the book counts as none."""
    put_cosignature(service.book.store, Cosignature(7, "witness.example", "\u2014 witness.example AAAA\n", 1_000))
    said = words(browser_of("desk").open("/book").text)
    assert "The witness witness.example signed the checkpoint of 7 entries too" in said
    assert "A witness whose key or state lies beside the book counts as none." in said


def test_a_check_is_run_and_dated_up_to_its_entry(service: Service, browser_of: Opens) -> None:
    """Its figures are those of a check by hand; what came after it is not claimed to be checked."""
    browser = browser_of("auditor")
    came = checked(browser)
    report = service.book.check()
    assert f"up to entry {report.entries - 1}: nothing is wrong." in came
    assert f"each of {report.entries} entries follows the one before, root {report.root}." in came
    assert f"{report.openings} openings match" in came
    assert "Begun on" in came
    assert "by The auditor." in came
    service.book.submit(registration(BALLS + 1), service.keeper).result()
    said = words(browser.open("/book").text)
    assert f"up to entry {report.entries - 1}: nothing is wrong." in said
    assert "1 entry came after that check and was not checked." in said


def test_a_damaged_book_is_said_in_words(service: Service, browser_of: Opens, tmp_path: Path) -> None:
    """A changed entry is named to who may see entries; others are told that something is wrong, and whom to tell."""
    file = tmp_path / "book.sqlite"
    drop_triggers(file)
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute(
            'UPDATE "entry" SET "bytes" = CAST(REPLACE(CAST("bytes" AS TEXT), \'15.05\', \'15.06\') AS BLOB) '
            'WHERE "index" = (SELECT "index" FROM "fact" WHERE "kind" = \'inspection\' ORDER BY "index" LIMIT 1)'
        )
    lead, desk = browser_of("quality"), browser_of("desk")
    came = checked(lead)
    assert "Something is wrong in the book" in came
    assert "stored hash is not that of the entry" in came
    assert re.search(r"Where entry \d+ ", came)
    assert "nothing is wrong" not in came
    assert "stored hash is not that of the entry" in words(lead.open("/book").text)
    told = words(desk.open("/book").text)
    assert "found something wrong in the book" in told
    assert "Tell the quality lead or the system keeper." in told
    assert "stored hash" not in told


def test_roles_see_what_their_json_addresses_give(service: Service, browser_of: Opens) -> None:
    """Who may see entries may have the book checked; all others of the plant see the statement alone, others nothing."""
    assert browser_of("examiner").open("/book").status_code == 403
    for role in ROLES:
        if role == "examiner":
            continue
        browser = browser_of(role)
        page = browser.open("/book")
        may = role in MAY_CHECK
        assert (200, may, may) == (page.status_code, "/book/check" in page.text, "/book/entries" in page.text)
        for address in ("/book/entries", "/book/entry/3"):
            assert (200 if may else 403) == browser.open(address).status_code
        assert (200 if may else 403) == service[role].get("/entries/3").status_code
        refused = browser.client.post("/book/check", data={"form_token": _token(page.text)})
        assert (303 if may else 403) == refused.status_code
    nobody = browser_of("")
    assert (303, 303) == tuple(nobody.open(address).status_code for address in ("/book", "/book/entries"))


def _token(page: str) -> str:
    return str(re.findall(r'name="form_token" value="([^"]*)"', page)[0])


def test_keys_and_checkpoint_are_those_of_the_book(service: Service, browser_of: Opens) -> None:
    """Each key stands there with its line and purpose, and the checkpoint's text as it is served."""
    page = unescape(browser_of("desk").open("/book").text)
    assert service.nobody.get("/checkpoint").text in page
    for signer in (SIGNERS.checkpoint, SIGNERS.dossier):
        assert signer.verifier.key_id.hex() in page
    assert "signs checkpoints" in page
    assert "signs dossiers" in page


def test_an_earlier_checkpoint_is_compared_in_words(service: Service, browser_of: Opens) -> None:
    """One that was kept, one of a larger book, one of another root, one by nobody, and text that is none."""
    browser = browser_of("station")
    kept = service.book.checkpoint().decode()
    size = parse_checkpoint(kept.encode()).tree_size
    service.book.submit(registration(BALLS + 1), service.keeper).result()
    answers = {
        "The book only grew since this checkpoint.": kept,
        "Entries are missing here": sign_checkpoint(ORIGIN, size + 9, bytes(32), [SIGNERS.checkpoint]).decode(),
        "are not those of the book": sign_checkpoint(ORIGIN, size, bytes(32), [SIGNERS.checkpoint]).decode(),
        "No key of this book signed this checkpoint.": kept.replace(f"\n{size}\n", f"\n{size - 1}\n"),
        "text holds no signature": "nothing of the sort",
    }
    for told, text in answers.items():
        browser.open("/book")
        answer = browser.send("/book/compare", checkpoint=text)
        assert told in words(answer.text), told
        assert (400 if told == "text holds no signature" else 200) == answer.status_code
    assert "nothing of the sort" in answer.text


def test_a_check_that_is_not_known_is_a_page(service: Service, browser_of: Opens) -> None:
    """It says so with a way on, as any page that is not there."""
    answer = browser_of("admin").open("/book/check/nothing")
    assert (404, True) == (answer.status_code, "no such check is on record" in answer.text)
