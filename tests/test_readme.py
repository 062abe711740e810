"""The README keeps its word: its commands are the ones that run, its table is the command line's own list."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

from ops.cli import command_table


@pytest.fixture(scope="module")
def readme(project: Path) -> str:
    """The README's text."""
    return (project / "README.md").read_text("utf-8")


def shell_commands(text: str) -> list[str]:
    """Every line of the shell blocks of a page, comments and the prompt left out."""
    blocks = re.findall(r"^```sh\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    return [line.split(" #")[0].strip() for block in blocks for line in block.splitlines() if line.strip()]


def test_first_commands_are_the_two_of_the_project(readme: str) -> None:
    """The first shell blocks are the demo and the tests, in this order."""
    assert shell_commands(readme)[:2] == ["bash ops/demo", "bash ops/test"]


def test_first_paragraph_comes_before_the_first_command(readme: str) -> None:
    """A reader learns what it is for before being told to run anything."""
    title, paragraph = readme.split("\n\n", 2)[:2]
    assert title == "# Pourbook"
    assert "ball" in paragraph
    assert "```" not in paragraph


def test_command_table_is_the_command_lines_own(readme: str) -> None:
    """The table in the README equals `ops.cli.command_table()`; paste that where this fails."""
    assert command_table() in readme


def test_every_command_of_the_readme_is_known(readme: str, project: Path) -> None:
    """Each command shown is a script of this project, or a command of the command line, or a test's own step."""
    known = re.compile(r"bash ops/(demo|test|check)( .*)?|\.pourbook/venv/bin/pourbook( .*)?")
    assert [command for command in shell_commands(readme) if not known.fullmatch(command)] == []
    assert [name for name in ("demo", "test", "check") if not (project / "ops" / name).is_file()] == []


def test_ci_runs_the_test_command_of_the_readme(readme: str, project: Path) -> None:
    """What the README calls the test command is what every change must pass."""
    assert "bash ops/test" in shell_commands(readme)
    assert "\nbash ops/test --full --install-system\n" in (project / ".ci" / "run").read_text("utf-8")


def output_of(command: list[str], project: Path, home: Path) -> str:
    """What a command prints from the project's folder, with an empty home and no terminal; it must end well."""
    ran = subprocess.run(
        command,
        cwd=project,
        env={"PATH": os.environ["PATH"], "HOME": str(home)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stderr[-2000:] if ran.returncode else "") == (0, "")
    return ran.stdout


@pytest.mark.full
def test_demo_command_ends_well_with_an_empty_home(project: Path, tmp_path: Path) -> None:
    """`bash ops/demo --once` sets itself up, walks through the main job and ends by itself with exit code 0."""
    assert "\nDone in " in output_of(["bash", "ops/demo", "--once"], project, tmp_path)


@pytest.mark.full
def test_demo_needs_no_extra(project: Path, tmp_path: Path) -> None:
    """With the packages of `ops/runtime.lock` alone the walk ends well, and says in a line each what is not there."""
    environment = f". ops/environment.sh; make_environment {tmp_path}/venv ops/runtime.lock"
    walk = f'exec {tmp_path}/venv/bin/pourbook demo --once --folder "{tmp_path}/walk"'
    said = " ".join(output_of(["bash", "-c", f"{environment}; {walk}"], project, tmp_path).split())
    assert "no report.pdf here, since the extra evidence is not installed" in said
    assert "stamps no time (RFC 3161) here" in said
