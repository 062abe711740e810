"""The demo as a person sees it: it ends well, and tells each trouble with its count and what was done, in order."""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import httpx
import pytest

from api.pages.words import english_word
from fixtures_demo import bends
from fixtures_demo.days import told as clock
from fixtures_demo.gauges import SPARE
from fixtures_demo.plant import MAKER
from fixtures_demo.troubles import GROUPS, TROUBLES
from ledger.access.roles import ROLES
from ledger.evidence.pdf_check import embedded_dossier
from ledger.evidence.trust import Trust
from ledger.evidence.verifier import check_dossier
from ops.demo_walk.folder import DemoFolder
from ops.demo_walk.looking import JOBS
from ops.demo_walk.people import PASSWORD
from ops.demo_walk.public_tools import TOOLS
from ops.demo_walk.screen import Screen
from ops.demo_walk.sealed_report import show_report
from ops.demo_walk.time_stamps import time_stamps
from tests.fixtures_demo.said_readings import SaidBook, read_said, resting_on, soft_units
from tests.ops.demo_text import answers, found, labels, section, told

COMMAND = [sys.executable, "-m", "ops.demo"]


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the demo's data."""
    return tmp_path_factory.mktemp("walk")


@pytest.fixture(scope="module")
def walked(project: Path, demo_folder: Path) -> str:
    """What `--once` prints; it must end with exit code 0."""
    ran = subprocess.run(
        [*COMMAND, "--once", "--folder", str(demo_folder)],
        cwd=project,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    return ran.stdout


@pytest.fixture(scope="module")
def said(walked: str, demo_folder: Path) -> SaidBook:
    """What the entries of the walk's book say, read without the ledger's views."""
    assert walked
    return read_said(str(demo_folder / "book.db"))


def test_troubles_come_in_the_order_of_urgency(walked: str) -> None:
    """Every trouble is told, in the order of the table, under its question."""
    assert list(told(walked)) == [trouble.title for trouble in TROUBLES]
    headings = [line.strip() for line in section(walked, 5).splitlines() if line.strip() in GROUPS]
    assert headings == list(GROUPS)


@pytest.mark.parametrize("title", [trouble.title for trouble in TROUBLES])
def test_trouble_is_told_with_its_count_and_what_was_done(walked: str, title: str) -> None:
    """What happened has a count of balls, claims or reports; what Pourbook did is named after it."""
    what, _, done = told(walked)[title].partition("Pourbook: ")
    assert re.search(r"\b[1-9][0-9]* (balls?|reports?|of all [0-9]+ claims|second quality)\b", what)
    assert len(done.split()) >= 6


def test_done_names_what_the_book_did(walked: str) -> None:
    """Each trouble's answer names the means: hold, breach, refusal, certainty, correction."""
    means = {
        "held resin": "refused", "early pour": "held the lot by itself", "recall": "two people",
        "soft shells": "tried now: refused", "wrong gauge": "none of these counts as conforming any more",
        "overdue gauge": "not usable", "doubtful clock": "undecided", "gap in a log": "marks the gap",
        "two core lots": "possible, not certain",
        "many claims": "sister claims", "wrong lot": "correction", "engraved anew": "both numbers", "late report": "marked it late",
        "off grade": "grade on the labels",
    }  # fmt: skip
    answers = told(walked)
    assert {title for title, words in means.items() if words not in answers[title]} == set()
    assert set(means) == set(answers)


def test_main_job_is_walked_step_by_step(walked: str) -> None:
    """From the number to the verified dossier, every step of the main job is shown."""
    shown = section(walked, 3)
    steps = ["allot a number", "ask first", "register the ball", "verdicts", "release it", "fetch its label"]
    steps += ["who scans it reads", "back to the drum", "down from the drum", "receipt, offline"]
    steps += [
        "warranty question",
        "dossier",
        "check it elsewhere",
        "its history",
        "its credential",
        "conformity, model",
    ]
    assert labels(shown) == steps
    assert "now? no: final-cure" in shown
    assert re.search(r"final-cure +SL-038A .* kept +[0-9.]+ to [0-9.]+ deg C, 1 gap\n", shown)
    assert "number issued by us" in shown
    assert "nothing is wrong with this dossier" in " ".join(shown.split())


def test_verdicts_are_asked_in_order(walked: str) -> None:
    """After the conformity of a model: what is undecided, what would change, and the files for a report."""
    asked = ["one undecided ball", "another", "in the whole plant", "customer's limits", "another edition"]
    asked += ["a wrong gauge", "table for a report", "control chart", "capability", "what a rule costs"]
    assert labels(section(walked, 4)) == asked


def test_undecided_ball_is_told_with_its_reason(walked: str, said: SaidBook) -> None:
    """Its value, U, margin, probability and guard band stand there, and what would decide; for another, why nothing would."""
    told_of = answers(walked)
    one = told_of["one undecided ball"]
    value = Fraction(found(r"hardness ([0-9.]+) Shore D, U 0\.[0-9]+ \(k = 2\); limit >= 73 Shore D", one)[0])
    soft_lot = {unit: reading for unit, reading in said.readings["hardness"].items() if unit.startswith("033A-")}
    assert value in {reading.value for reading in soft_lot.values()}
    assert Fraction(found(r"conforms, inside by ([0-9.]+)", one)[0]) == value - 73
    band, probability = map(float, found(r"guard band, ([0-9.]+) Shore D; probability of conforming ([0-9.]+)", one))
    assert value - 73 < band
    assert 0.5 < probability < 0.95
    assert re.search(r"[1-9][0-9]* more readings? would likely decide", one)
    assert "U from repeatability" in one
    assert "more readings will not decide: the gauge's own part" in told_of["another"]
    assert re.search(r"of 2,[0-9]{3} balls .* undecided [1-9][0-9]* by hardness, [1-9][0-9]* by low radius of gyration",
                     told_of["in the whole plant"])  # fmt: skip
    assert re.search(r"conform, [1-9][0-9]* are undecided", told_of["customer's limits"])


def test_other_edition_is_told_with_its_balls(walked: str, said: SaidBook) -> None:
    """The counts are those of the balls that read 72 to 73, in the entries themselves."""
    told_of = answers(walked)["another edition"]
    soft = soft_units(said)
    assert f"hardness >= 72 Shore D in usbc-2019, >= 73 Shore D in usbc-2026: {len(soft)} balls of 2," in told_of
    here = len(soft - said.away - said.ended)
    assert f"{here} in stock, {len(soft & said.away)} shipped" in told_of
    second = sum(said.grades.get(unit) == "second" for unit in soft)
    assert f"{second} released as second quality, none as first, {len(soft) - second} not released" in told_of
    lot = sum(unit.startswith("033A-") for unit in soft)
    assert re.search(rf"{lot} of them of SL-033A, the first [0-9A-Z]{{9}}, [0-9A-Z]{{9}}, [0-9A-Z]{{9}}", told_of)


def test_wrong_gauge_is_told_with_its_balls(walked: str, said: SaidBook) -> None:
    """The counts are those of the balls that rest on it in the entries themselves; the trouble says the same."""
    began, ended = (dt.datetime.fromisoformat(clock(ms)) for ms in (bends.LAST_GOOD_AT, bends.FOUND_WRONG_AT))
    behind = resting_on(said, "out_of_round", bends.WRONG_GAUGE, began, ended)
    here, away = len(behind - said.away), len(behind & said.away)
    told_of = answers(walked)["a wrong gauge"]
    assert "RO-1 read 0.0031 in too little" in told_of
    assert f"{len(behind)} balls rest on it since its last calibration, {here} in house, {away} shipped in " in told_of
    bias = Fraction(str(bends.ZERO_ERROR))
    fails = sum(said.readings["out_of_round"][unit].value - bias > Fraction("0.010") for unit in behind)
    assert f"with that taken out {fails} verdicts change, all to does not conform (" in told_of
    assert f"as the book stands all {len(behind)} count as not measured" in told_of
    again = sum(reading.gauge == SPARE for reading in said.readings["out_of_round"].values())
    trouble = told(walked)["wrong gauge"]
    assert f"{len(behind) + again} balls read since its last calibration" in trouble
    assert f"{again} were read again" in trouble
    assert f"{away} had been shipped, {here} are in house" in trouble


def test_table_and_chart_are_in_the_folder(walked: str, demo_folder: Path) -> None:
    """The table has a line for each ball, with the caution above; the chart is a picture that names what it shows."""
    told_of = answers(walked)
    lines = (demo_folder / "conformity.csv").read_text("utf-8").splitlines()
    notes = [line for line in lines if line.startswith("#")]
    assert "not an approval" in notes[1]
    assert f"conformity.csv: {len(lines) - len(notes) - 1:,} balls" in told_of["table for a report"]
    assert (demo_folder / "hardness.svg").read_text("utf-8").startswith("<svg")
    assert re.search(
        r"hardness\.svg: mean hardness of [0-9]+ shell lots .* SL-033A beyond 3 sigma below", told_of["control chart"]
    )


def test_capability_is_told_with_its_interval(walked: str) -> None:
    """Cp and Cpk of a quantity with two limits, Cpk alone of one with one, each Cpk inside its interval."""
    told_of = answers(walked)["capability"]
    number, interval = r"([0-9.]+)", r"95% interval ([0-9.]+) to ([0-9.]+)"
    wide = found(rf"Cp {number}, .* Cpk {number}, .*?\({interval}\);?.*hardness", told_of)
    soft = found(rf"Cpk alone: {number} \({interval}\)", told_of)
    for cpk, low, high in (wide[1:], soft):
        assert float(low) < float(cpk) < float(high)
    assert float(wide[0]) >= float(wide[1])


def test_guarding_costs_good_balls(walked: str) -> None:
    """The rule of the house accepts fewer balls that do not conform, and turns away more that do."""
    told_of = answers(walked)["what a rule costs"]
    shares = [float(text) for text in re.findall(r"([0-9.]+)%", told_of)]
    assert len(shares) == 4
    assert shares[2] < shares[0]
    assert shares[3] > shares[1]


def test_desk_is_walked_from_a_worn_number_to_an_erasure(walked: str) -> None:
    """The number, the claim, what speaks for what, the letter, the lot behind it, its containment, a person's data."""
    shown = section(walked, 6)
    steps = ["half-worn number", "claim taken", "what the facts say", "proposal", "a person decides", "letter"]
    steps += ["signal", "what else", "contained", "to the last ball", "a person's data"]
    assert labels(shown) == steps
    text = " ".join(shown.split())
    worn, serial = found(r"half-worn number ([^:]+): 1 ball of this book fits.*?: (\w{9}) ", text)
    assert len(worn) == len(serial)
    assert all(read in {"?", bears} for read, bears in zip(worn, serial, strict=True))
    assert "rejecting it for misuse is refused" in text
    assert "holds nothing by itself" in text
    assert "have licensed counsel read it" in text


def test_contained_balls_add_up(walked: str) -> None:
    """What was answered, what is silent and what never left are all the balls of the case."""
    text = " ".join(section(walked, 6).split())
    (told,) = found(r"to the last ball \S+ and \S+ answered: (.*?) silence is no answer", text)
    *parts, whole = map(int, re.findall(r"\b\d+\b", told))
    assert sum(parts) == whole
    (below,) = found(r"what else .*?: (\d+) balls below it", text)
    assert whole == int(below)


def test_erased_data_leaves_the_book_whole(walked: str, demo_folder: Path) -> None:
    """The walk erased fields and files; the check of the whole book after it finds nothing wrong."""
    assert "the book itself right" in " ".join(section(walked, 7).split())
    with sqlite3.connect(demo_folder / "book.db") as book:
        (fields,) = book.execute('SELECT count(*) FROM "erased_field"').fetchone()
        (files,) = book.execute('SELECT count(*) FROM "erased_blob"').fetchone()
    assert (fields, files) == (4, 2)


def test_provenance_and_caution_are_said(walked: str) -> None:
    """Second-hand limits and limits from memory are named, and the caution stands once."""
    text = " ".join(walked.split())
    assert "limits second-hand: weight" in text
    assert "limits from memory: out-of-round" in text
    assert text.count("the maker's own assessment, not an approval") == 1


def test_changed_bytes_are_found_where_they_are(walked: str) -> None:
    """The changed byte of the book is named by its entry, that of the dossier by its file."""
    text = " ".join(section(walked, 7).split())
    assert re.search(r"the book itself right: [0-9,]+ entries", text)
    assert re.search(r"Found: entry [0-9]+: ", text)
    assert re.search(r"one byte changed in (entries/[0-9]+\.json)\. Found: \1: ", text)


def test_pages_are_told_with_who_may_sign_in(walked: str) -> None:
    """The front page, a label's page, the one password, and an account for each role with what it does."""
    shown = section(walked, 10)
    assert labels(shown) == ["front page", "a label leads to", "password"]
    address, serial = found(r"front page +(http://127\.0\.0\.1:\d+)/ .*?/01/\d{14}/21/(\w{9})", " ".join(shown.split()))
    assert f"{address}/01/" in shown
    assert serial in section(walked, 3)
    assert PASSWORD in shown
    assert "worth nothing elsewhere" in " ".join(shown.split())
    assert all(f"  {english_word('role', role)}" in shown and JOBS[role] in shown for role in ROLES)


def test_the_report_is_sealed_and_holds_its_dossier(walked: str, demo_folder: Path) -> None:
    """Section 9 says whose the seal is and where the file lies; the dossier in it is right by the demo's key."""
    shown = " ".join(section(walked, 9).split())
    how = "with a time stamp" if shutil.which("openssl") else "without a time stamp"
    assert f"the report is sealed by {MAKER}, {how}" in shown
    assert "approval-file.pdf, with the dossier in it" in shown
    pdf = (demo_folder / "approval-file.pdf").read_bytes()
    report = check_dossier(io.BytesIO(embedded_dossier(pdf)), [(demo_folder / "checkpoint.vkey").read_text().strip()])
    assert ("approval-file", 0) == (report.scope.kind, report.counts.report)


def test_without_the_extra_the_demo_says_so_in_one_line(
    walked: str, demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And goes on: there is no report, and nothing else is missing."""
    assert walked
    monkeypatch.setitem(sys.modules, "pyhanko.pdf_utils.incremental_writer", None)
    folder, out = DemoFolder(demo_folder), io.StringIO()

    show_report(Screen(out), folder, folder.read(), Trust(keys=[]))

    assert "no report.pdf here, since the extra evidence is not installed" in " ".join(out.getvalue().split())
    assert len(out.getvalue().splitlines()) <= 2


def test_without_the_extra_no_time_is_stamped_and_the_walk_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is nobody to ask, and the reason."""
    monkeypatch.setitem(sys.modules, "rfc3161_client", None)

    with time_stamps(tmp_path / "third-party") as stamps:
        assert ((), (), None, None) == (stamps.authorities, stamps.roots, stamps.root_file, stamps.stamp)

    assert "not installed" in stamps.why_none


@pytest.mark.skipif(not all(map(shutil.which, TOOLS)), reason=f"it takes {', '.join(TOOLS)}")
def test_the_forged_book_is_found_by_each_other_party(walked: str) -> None:
    """The key alone is deceived; policy, witness, time stamp, openssl, samples and an old receipt are not."""
    shown = section(walked, 9)
    parties = ["a second party", "a third party", "dossier", "program", "browser", "public tools", "printed", "forged"]
    asked = [
        "the key alone",
        "the policy",
        "the witness",
        "the time stamp",
        "the samples",
        "a mirror",
        "an old receipt",
    ]
    assert [re.sub(r"^[0-9] ", "", label) for label in re.findall(r"^  (\S.{0,17}?)  +\S", shown, re.MULTILINE)] == [
        *parties,
        *asked,
    ]
    text = " ".join(shown.split())
    assert "stamped it (RFC 3161; OpenSSL with a root of its own): it was there at" in text
    assert "quorum reached, 1 time stamp" in text
    assert re.search(r"were run here by bash and openssl: 9 right, none wrong", text)
    assert "quorum of witnesses is not reached" in text
    assert "does not extend the one that it holds" in text
    assert "tokens/third-party.tsr: time token is over other bytes; openssl ts -verify says so too" in text
    assert "inclusion proof leads to another root" in text


def test_output_is_plain_without_a_terminal(walked: str) -> None:
    """No colour codes and no carriage returns where there is no terminal, and at most 245 lines."""
    assert "\x1b" not in walked
    assert "\r" not in walked
    assert len(walked.splitlines()) <= 245
    assert max(map(len, walked.splitlines())) <= 116


def test_data_lies_where_it_is_said(walked: str, demo_folder: Path) -> None:
    """The folder is named, and holds the book, label, dossier, table, charts, letters and public key."""
    assert str(demo_folder) in walked
    names = {path.name for path in demo_folder.iterdir()}
    assert {
        "book.db",
        "label.svg",
        "dossier.zip",
        "conformity.csv",
        "hardness.svg",
        "letter.pdf",
        "notice.pdf",
    } <= names
    assert {"survival.svg", "approval-file.pdf", "checkpoint.vkey", "demo.json"} <= names
    assert (demo_folder / "demo.json").stat().st_mode & 0o077 == 0


def test_service_stays_until_it_is_stopped(walked: str, project: Path, demo_folder: Path) -> None:
    """Without --once the walk is quick the second time, the service stays up, lets people in, and Ctrl-C ends it."""
    process = subprocess.Popen(
        [*COMMAND, "--folder", str(demo_folder)],
        cwd=project,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line)
        if line.startswith("The service stays at"):
            break
    (address,) = found(r"front page +(\S+)/ ", "".join(lines))
    with httpx.Client(base_url=address, headers={"accept": "text/html"}, timeout=60) as browser:
        let_in = browser.post("/sign-in", data={"name": "Quality lead", "password": PASSWORD, "next": "/book"})
        assert (303, "/book") == (let_in.status_code, let_in.headers["location"])
        assert 200 == browser.get("/book").status_code
    process.send_signal(signal.SIGINT)
    rest, errors = process.communicate()
    assert "built earlier by this version" in "".join(lines)
    assert (process.returncode, errors) == (0, "")
    assert "Stopping" in rest


def test_approval_files_are_told_from_the_draw_to_what_is_missing(walked: str) -> None:
    """The draw with its seed, the signatures, the answer, the change to be told, and the file that waits."""
    text = " ".join(section(walked, 8).split())
    assert re.search(r"5 of 8 balls of 15 lb, by the seed that the announcement's own entry gave \([0-9a-f]{16}", text)
    assert "by 2 people who had not frozen it, then handed over" in text
    assert "the process plan was set anew by fact" in text
    assert re.search(r"15 lb: 2 of 5 balls measured; high-RG axis mark missing on \S+, \S+ and \S+", text)
