"""The demo as a person sees it: it ends well, and tells each trouble with its count and what was done, in order."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fixtures_demo.troubles import GROUPS, TROUBLES

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


def section(walked: str, number: int) -> str:
    """One of the five parts of what was printed."""
    return re.split(r"^\d ", walked, flags=re.MULTILINE)[number]


def told(walked: str) -> dict[str, str]:
    """What is said under each trouble's title, in the order printed, lines joined."""
    parts = re.split(r"^  - (.{1,16}?)  +", section(walked, 4), flags=re.MULTILINE)[1:]
    return {title: " ".join(text.split()) for title, text in zip(parts[::2], parts[1::2], strict=True)}


def test_troubles_come_in_the_order_of_urgency(walked: str) -> None:
    """Every trouble is told, in the order of the table, under its question."""
    assert list(told(walked)) == [trouble.title for trouble in TROUBLES]
    headings = [line.strip() for line in section(walked, 4).splitlines() if line.strip() in GROUPS]
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
        "held resin": "refused", "early pour": "held the lot by itself", "recall": "two people", "wrong gauge": "not measured",
        "overdue gauge": "not usable", "doubtful clock": "undecided", "two core lots": "possible, not certain",
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
    steps += ["who scans it reads", "back to the drum", "down from the drum", "receipt, offline", "conformity, model"]
    steps += ["warranty question", "dossier", "check it elsewhere"]
    assert [step for step in steps if f"\n  {step} " not in shown] == []
    assert [shown.index(f"\n  {step} ") for step in steps] == sorted(shown.index(f"\n  {step} ") for step in steps)
    assert "now? no: final-cure" in shown
    assert "number issued by us" in shown
    assert "nothing is wrong with this dossier" in " ".join(shown.split())


def test_provenance_and_caution_are_said(walked: str) -> None:
    """Second-hand limits and limits from memory are named, and the caution stands once."""
    text = " ".join(walked.split())
    assert "limits second-hand: weight" in text
    assert "limits from memory: out-of-round" in text
    assert text.count("the maker's own assessment, not an approval") == 1


def test_changed_bytes_are_found_where_they_are(walked: str) -> None:
    """The changed byte of the book is named by its entry, that of the dossier by its file."""
    text = " ".join(section(walked, 5).split())
    assert re.search(r"the book itself right: [0-9,]+ entries", text)
    assert re.search(r"Found: entry [0-9]+: ", text)
    assert re.search(r"one byte changed in (entries/[0-9]+\.json)\. Found: \1: ", text)


def test_output_is_plain_without_a_terminal(walked: str) -> None:
    """No colour codes and no carriage returns where there is no terminal, and no more lines than two screens hold."""
    assert "\x1b" not in walked
    assert "\r" not in walked
    assert len(walked.splitlines()) <= 125


def test_data_lies_where_it_is_said(walked: str, demo_folder: Path) -> None:
    """The folder is named, and holds the book, label, dossier and public key."""
    assert str(demo_folder) in walked
    names = {path.name for path in demo_folder.iterdir()}
    assert {"book.db", "label.svg", "dossier.zip", "checkpoint.vkey", "demo.json"} <= names
    assert (demo_folder / "demo.json").stat().st_mode & 0o077 == 0


def test_service_stays_until_it_is_stopped(walked: str, project: Path, demo_folder: Path) -> None:
    """Without --once the walk is quick the second time, the service stays up, and Ctrl-C ends it without a traceback."""
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
    process.send_signal(signal.SIGINT)
    rest, errors = process.communicate()
    assert "built earlier by this version" in "".join(lines)
    assert (process.returncode, errors) == (0, "")
    assert "Stopping" in rest
