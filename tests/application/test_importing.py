"""Imports in the book: what balls made before it, old shipments and old claims are to every other question."""

from __future__ import annotations

import io

import pytest

from ledger.application.conformity_query import conformity_of
from ledger.application.import_columns import unit_of_line
from ledger.application.import_lines import AT_ONCE, ImportFile
from ledger.application.importing import run_import
from ledger.errors import Forbidden, LedgerError, MalformedInput, NotFound, TooLarge
from ledger.evidence.verifier import check_dossier
from ledger.line.import_rows import MADE_BEFORE
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import GTIN, Floor, at, corrected
from tests.application.import_files import csv_of, dry, ran, refused

OLD = csv_of(
    ["made_on", "serial", "model", "weight_class", "unit"],
    ["1998-05-01", "8812345", "M1", 15, "OLD-1"],
    ["2008-05-01", "8812345", "M1", 15, "OLD-2"],
    ["2008-05-01", "8812346", "M1", 15, "OLD-3"],
)
SENT = ["shipment", "shipped_on", "serial", "unit", "model", "consignee", "to"]
CLAIMED = ["claim", "opened_on", "mode", "serial", "claimant", "decision", "reason", "decided_on", "note"]


@pytest.fixture
def old(ready: Floor) -> Floor:
    """A plant that took over three balls, two of them with one number, from a file."""
    assert [] == refused(ran(ready.book, OLD, "balls", ready.lead))
    return ready


def sent(*rows: list[object]) -> bytes:
    """A file of shipments."""
    return csv_of(SENT, *rows)


def test_an_imported_ball_says_where_it_comes_from(old: Floor) -> None:
    """Its page names the file and the line, has no ancestors, and is in the state imported."""
    ball = old.book.ball("OLD-1")
    digest = ImportFile(OLD, "balls").digest

    assert ("imported", (), f"{MADE_BEFORE}; from line 2 of file {digest}") == (
        ball.state,
        ball.materials,
        ball.made_before,
    )
    assert "" == old.book.ball("OLD-1").model_name.replace("Model M1", "")
    assert f"IMP-{digest[:12].upper()}-7" == unit_of_line(digest, 7)


def test_it_is_not_measured_under_any_rulebook(old: Floor) -> None:
    """Conformity tells imported balls as not measured, beside those of this book."""
    with open_reader(old.book.store) as reader:
        found = conformity_of(reader, Selection(model="M1"), "usbc-2026", listed=10)
    assert ["OLD-1", "OLD-2", "OLD-3"] == [ball.unit for ball in found.balls]
    assert {"not_measured"} == {ball.judged.outcome for ball in found.balls}


def test_the_public_and_the_desk_are_told(old: Floor) -> None:
    """Whoever scans the label learns that it is of before; the desk finds every ball with the number."""
    answer = old.book.public(GTIN, "8812346")
    assert ["made before the maker's present records"] == [ball.status for ball in answer.balls]
    assert 2 == len(old.book.find("8812345"))
    (answered,) = old.book.warranty("8812346").balls
    digest = ImportFile(OLD, "balls").digest
    assert (f"{MADE_BEFORE}; from line 4 of file {digest}",) == answered.of_what


def test_an_imported_ball_is_not_released_as_it_is(old: Floor) -> None:
    """Nothing of it was measured; it has to come back first."""
    with pytest.raises(LedgerError) as refusal:
        old.book.release(["OLD-3"], "first", "r-1", old.lead).result(30)
    assert "RuleStands" == type(refusal.value).__name__
    old.say({"kind": "returned", "at": at(100), "unit": "OLD-3", "reason": "claimed"})
    assert "returned" == old.book.ball("OLD-3").state


def test_an_old_shipment_is_of_one_ball_each(old: Floor) -> None:
    """A line that names one ball is entered; one that may mean several is refused with the candidates."""
    lines = ran(
        old.book,
        sent(
            ["SH-1", "2009-01-05", "8812346", "", "", "A shop", ""],
            ["SH-1", "2009-01-05", "8812345", "OLD-2", "", "A shop", ""],
            ["SH-2", "2009-01-05", "8812345", "", "", "A shop", ""],
            ["SH-2", "2009-01-05", "", "OLD-1", "", "A shop", "SHOP-1"],
            ["SH-2", "2009-01-05", "", "OLD-1", "", "", "SHOP-1"],
            ["SH-1", "2009-01-06", "", "OLD-1", "", "A shop", ""],
            ["SH-1", "2009-01-05", "8812346", "", "", "A shop", ""],
            ["SH-3", "1997-01-05", "", "OLD-1", "", "A shop", ""],
            ["SH-3", "2009-01-05", "77", "", "", "A shop", ""],
            ["SH-3", "2009-01-05", "8812346", "OLD-1", "", "A shop", ""],
            ["SH-3", "2009-01-05", "", "", "", "A shop", ""],
        ),
        "shipments",
        old.lead,
    )
    assert [
        (4, "several-balls", "serial"), (5, "malformed-record", "to"), (6, "unknown-subject", "to"),
        (7, "contradiction", "shipment"), (8, "contradiction", "unit"), (9, "rule-stands", "shipped_on"),
        (10, "unknown-subject", "serial"), (11, "contradiction", "unit"), (12, "missing-value", "serial"),
    ] == refused(lines)  # fmt: skip
    assert "OLD-1 (model M1, 15 lb, made 1998-05-01); OLD-2 (model M1, 15 lb, made 2008-05-01)" in lines[2]["reason"]
    assert ["SH-1"] == [journey.shipment for journey in old.book.ball("OLD-2").journeys]
    assert "shipped" == old.book.ball("OLD-3").state


def test_a_ball_of_this_book_leaves_by_its_release_alone(old: Floor) -> None:
    """A shipment by file lets no unreleased ball pass for sale; a sample may leave. A plain shipment takes no old ball."""
    old.ball("U-1", "P-1")
    raw = csv_of(
        [*SENT, "purpose"],
        ["SH-1", "2026-09-25", "P-1", "", "", "A shop", "", "sale"],
        ["SH-2", "2026-09-25", "P-1", "", "", "A shop", "", "sample"],
    )
    assert [(2, "rule-stands", "unit")] == refused(ran(old.book, raw, "shipments", old.lead))
    with pytest.raises(LedgerError, match="may not leave"):
        old.say({"kind": "shipment", "at": at(90), "shipment": "SH-9", "units": ["OLD-1"], "consignee": "A shop"})


def test_old_claims_are_opened_flagged_and_decided(old: Floor) -> None:
    """An unknown number is taken and flagged; a decision needs its day and reason, and what the reason needs."""
    raw = csv_of(
        CLAIMED,
        ["C-1", "2010-01-05", "void", "8812346", "Jo Doe", "", "", "", ""],
        ["C-2", "2010-01-05", "void", "NOBODYS", "", "reject", "not-our-ball", "2010-02-01", ""],
        ["C-3", "2010-01-05", "void", "8812345", "", "reject", "", "2010-02-01", ""],
        ["C-3", "2010-01-05", "void", "8812345", "", "goodwill", "goodwill", "2010-02-01", ""],
        ["C-4", "2010-01-05", "void", "8812345", "", "goodwill", "goodwill", "2010-02-01", "granted by the owner"],
        ["C-1", "2010-01-05", "void", "8812345", "", "", "", "", ""],
        ["C-5", "2010-01-05", "nothing-known", "8812345", "", "", "", "", ""],
        ["C-6", "2010-01-05", "void", "8812346", "", "accept", "in-term", "2010-02-01", ""],
    )
    expected = dry(old.book, raw, "claims")
    lines = ran(old.book, raw, "claims", old.lead)

    assert [
        (4, "missing-value", "reason"), (5, "missing-value", "note"), (7, "contradiction", "claim"),
        (8, "unknown-subject", "mode"), (9, "rule-stands", "reason"),
    ] == refused(lines) == refused(expected)  # fmt: skip
    flags = {line["line"]: line["code"] for line in lines if line["outcome"] == "accepted"}
    assert {"2": "claim-never-shipped", "3": "claim-foreign-number", "6": "claim-several-balls"} == flags
    assert ["C-1"] == [claim.claim for claim in old.book.ball("OLD-3").claims]
    assert old.book.ball("OLD-3").claims[0].imported


def test_a_wrong_line_is_corrected_like_any_fact(old: Floor) -> None:
    """Withdrawn, the ball is gone and its lot has one less; the file is not entered again for it."""
    line = ran(old.book, OLD, "balls", old.lead)[0]
    lot = old.book.ball("OLD-1").lot
    old.say(corrected({"fact": line["entry"]}))

    assert [] == [ball for ball in old.book.find("8812345") if ball.unit == "OLD-1"]
    assert 2 == old.book.lot(lot).account.made
    assert "accepted" == ran(old.book, OLD, "balls", old.lead)[0]["outcome"]
    old.book.check()


def test_what_the_file_quotes_can_be_erased(old: Floor) -> None:
    """A refused line may quote a person: the words are sealed, and once erased the answer says so."""
    raw = csv_of(["made_on", "grade"], ["2001-01-01", "Jo Doe"])
    first = ran(old.book, raw, "balls", old.lead)
    assert "Jo Doe" in first[0]["reason"]
    with open_reader(old.book.store) as reader:
        index = reader.head().size - 1
    said = {"kind": "erasure", "at": at(900), "entry": index, "fields": ["0/refused/0/said"], "basis": "request"}
    old.say({**said, "reason": "asked-by-the-person"})
    again = ran(old.book, raw, "balls", old.lead)
    assert [("refused", "what was said of it is erased")] == [(one["outcome"], one["reason"]) for one in again]
    old.book.check()


@pytest.mark.parametrize(
    ("raw", "where", "words"),
    [
        (b"made_on,serial\n2001-01-01,\xff1\n", "line 2", "UTF-8"),
        (b"made_on,colour\n2001-01-01,1\n", "line 1", "colour"),
        (b"made_on,made_on\n2001-01-01,1\n", "line 1", "twice"),
        (b"serial\n1\n", "line 1", "made_on"),
        (b"", "line 1", "made_on"),
        (b"made_on\n", "line 2", "no lines"),
        (b'made_on,serial\n2001-01-01,"1\n', "line 2 or after", "CSV"),
        (b"made_on,serial\n2001-01-01,\x00\n", "line 2", "zero byte"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_whole(ready: Floor, raw: bytes, where: str, words: str) -> None:
    """Encoding, quoting and the header are the file's; nothing of it is entered."""
    with pytest.raises(MalformedInput) as refusal:
        run_import(ready.book, raw, "balls", ready.lead)
    assert where == refusal.value.where
    assert words in str(refusal.value)


def test_a_file_has_limits(ready: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Too many bytes or lines are refused with the limit."""
    monkeypatch.setattr("ledger.application.import_lines.MOST_LINES", 2)
    with pytest.raises(TooLarge, match="at most 2"):
        run_import(ready.book, OLD, "balls", ready.lead)
    monkeypatch.setattr("ledger.application.import_lines.MOST_BYTES", 10)
    with pytest.raises(TooLarge, match="at most 10 bytes"):
        run_import(ready.book, OLD, "balls", ready.lead)


def test_a_mark_spaces_and_line_ends_of_the_file_make_no_difference(ready: Floor) -> None:
    """A byte order mark is taken off, as are spaces around a cell, empty lines at the end, and either line end."""
    raw = b'\xef\xbb\xbfMade_On , serial\r\n2001-01-01 , A1 \r\n\r\n2001-01-02,"A,2"\r\n\r\n\r\n'
    lines = ran(ready.book, raw, "balls", ready.lead)
    assert [("2", "accepted"), ("3", "refused"), ("4", "accepted")] == [(one["line"], one["outcome"]) for one in lines]


def test_who_may_not_say_what_the_lines_become_imports_nothing(ready: Floor) -> None:
    """Balls made before this book are for quality to take over."""
    desk = ready.book.open_account("Desk", ("desk",))[0]
    with pytest.raises(Forbidden):
        run_import(ready.book, OLD, "balls", desk)


@pytest.mark.parametrize("what", ["balls", "claims", "shipments"])
def test_the_longest_lines_fit_in_one_entry(old: Floor, what: str) -> None:
    """Stretches are so short that no entry of theirs is too long."""
    text, name = "x" * 1_990, "A" * 36
    longest = {
        "balls": (["made_on", "serial", "model", "colours", "unit", "note"],
                  lambda n: ["2001-01-01", f"{n:020d}", "M1", "/".join(["c" * 40] * 12), f"{name}{n:04d}", text]),
        "shipments": (["shipment", "shipped_on", "unit", "consignee", "purpose", "note"],
                      lambda n: [f"{name}{n:04d}", "2020-01-01", f"{name}{n:04d}", text[:200], "warranty", text]),
        "claims": (["claim", "opened_on", "mode", "serial", "unit", "bought_on", "proof", "stored", "drilled_on",
                    "drilled_by", "layout", "fitted", "claimant", "contact", "via", "market", "keep_until", "decision",
                    "reason", "decided_on", "note"],
                   lambda n: [f"{name}{n:04d}", "2020-01-01", "crack-over-block", "8812345", "OLD-1", "2020-01-01",
                              "registration", "unheated", "2020-01-01", text, "l" * 40, "inserts", text, text, "",
                              "m" * 40, "2030-01-01", "goodwill", "goodwill", "2020-01-01", text]),
    }  # fmt: skip
    if what == "shipments":
        header, row = longest["balls"]
        ran(old.book, csv_of(header, *(row(n) for n in range(AT_ONCE["shipments"]))), "balls", old.lead)  # type: ignore[no-untyped-call]  # a lambda
    header, row = longest[what]
    raw = csv_of(header, *(row(n) for n in range(AT_ONCE[what])))  # type: ignore[index]  # one of the three
    lines = ran(old.book, raw, what, old.lead)  # type: ignore[arg-type]  # one of the three
    assert AT_ONCE[what] == len(lines)  # type: ignore[index]  # one of the three
    assert {"accepted"} == {line["outcome"] for line in lines}


def test_there_is_no_evidence_of_a_ball_of_before(old: Floor) -> None:
    """A dossier of it is refused: the book holds a line of a file, and nothing of how it was made."""
    with pytest.raises(NotFound, match="made before this book"):
        old.book.dossier(["8812346"], io.BytesIO())


def test_a_ball_of_this_book_with_an_old_claim_has_a_dossier_that_checks(old: Floor) -> None:
    """The entry of the import goes along, with the lines of others withheld."""
    old.ball("U-1", "P-1")
    raw = csv_of(["claim", "opened_on", "mode", "unit", "claimant"], ["C-1", "2026-09-30", "void", "U-1", "Jo Doe"],
                 ["C-2", "2026-09-30", "void", "OLD-1", "Bo Doe"])  # fmt: skip
    assert [] == refused(ran(old.book, raw, "claims", old.lead))
    out = io.BytesIO()
    old.book.dossier(["P-1"], out)
    out.seek(0)
    check_dossier(out, [old.book.signers.checkpoint.verifier])
    assert not any(name in out.getvalue() for name in (b"Jo Doe", b"Bo Doe"))
