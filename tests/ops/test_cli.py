"""The command line: one list of commands, plain refusals, honest exit codes."""

from __future__ import annotations

import importlib
import subprocess
import sys
from pathlib import Path

import pytest

from ops.cli import COMMANDS, Command, command_table, find_command, help_text, main

PASSWORD = "correct horse battery"


@pytest.fixture
def password_file(tmp_path: Path) -> Path:
    """A file with a password in its first line."""
    path = tmp_path / "password"
    path.write_text(f"{PASSWORD}\n", "utf-8")
    return path


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.name)
def test_every_listed_command_can_be_run(command: Command) -> None:
    """A listed command has its module, with the two functions that the command line calls."""
    module = importlib.import_module(command.module)
    assert callable(module.add_arguments)
    assert callable(module.run)


def test_every_command_file_is_listed() -> None:
    """No file in ops/commands is forgotten in the list."""
    folder = Path(__file__).resolve().parents[2] / "ops" / "commands"
    files = {f"ops.commands.{path.stem}" for path in folder.glob("*.py") if path.stem != "__init__"}
    assert files <= {command.module for command in COMMANDS}


def test_names_are_unique_and_purposes_are_one_line() -> None:
    """No command is listed twice, and none needs a second line to say what it is for."""
    assert len({command.name for command in COMMANDS}) == len(COMMANDS)
    assert [command.name for command in COMMANDS if "\n" in command.purpose or command.purpose.endswith(".")] == []


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.name)
def test_help_and_table_list_every_command(command: Command) -> None:
    """Help text and README table come from the same list."""
    assert command.purpose in help_text()
    assert f"| `pourbook {command.name}` | {command.purpose} |" in command_table()


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.name)
def test_every_command_has_help(command: Command, capsys: pytest.CaptureFixture[str]) -> None:
    """`pourbook COMMAND --help` prints what it is for and ends well."""
    with pytest.raises(SystemExit) as ended:
        main([*command.name.split(), "--help"])
    assert ended.value.code == 0
    assert command.name.split()[0] in capsys.readouterr().out


def test_words_find_the_longest_command() -> None:
    """A command of two words wins over one that is its first word."""
    commands = (Command("verify", "a", "x"), Command("verify book", "b", "y"))
    assert find_command(["verify", "book", "FILE"], commands) == (commands[1], ["FILE"])
    assert find_command(["verify", "FILE"], commands) == (commands[0], ["FILE"])
    assert find_command(["books"], commands) is None


def test_no_words_print_the_help_and_count_as_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a command the list is shown, with exit code 2; asked for, with 0."""
    assert (main([]), main(["--help"])) == (2, 0)
    assert capsys.readouterr().out == f"{help_text()}\n" * 2


def test_unknown_command_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """A word that is no command is named, with exit code 2."""
    assert main(["pour", "out"]) == 2
    assert "'pour out'" in capsys.readouterr().err


def test_refusal_is_one_line_and_its_mend(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An error of ours gives exit code 1, what is wrong and what would mend it; no traceback."""
    path = tmp_path / "open.key"
    path.write_bytes(b"x")
    path.chmod(0o644)
    assert main(["keys", "show", str(path)]) == 1
    first, second = capsys.readouterr().err.splitlines()
    assert first.startswith("pourbook: ")
    assert second.startswith("  to mend it: chmod 600")


def test_keys_new_then_show(tmp_path: Path, password_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A key is made, and shown with the verifier line that making it printed; opening proves the lines."""
    path = str(tmp_path / "c.key")
    password = ["--password-file", str(password_file)]
    made = main(["keys", "new", path, "--name", "books.example/a", "--purpose", "checkpoint", *password])
    verifier = capsys.readouterr().out.splitlines()[1]
    assert (made, main(["keys", "show", path]), main(["keys", "show", path, "--prove", *password])) == (0, 0, 0)
    unproven, proven = capsys.readouterr().out.split("proven: no")
    assert verifier in unproven
    assert verifier in proven
    assert "proven: yes" in proven


def test_keys_show_with_a_wrong_password_proves_nothing(
    tmp_path: Path, password_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong password gives exit code 1 and prints no key."""
    path = str(tmp_path / "c.key")
    password = ["--password-file", str(password_file)]
    main(["keys", "new", path, "--name", "books.example/a", "--purpose", "checkpoint", *password])
    password_file.write_text("something else entirely", "utf-8")
    capsys.readouterr()
    assert main(["keys", "show", path, "--prove", *password]) == 1
    assert capsys.readouterr().out == ""


def test_password_needs_a_terminal_or_a_file(tmp_path: Path) -> None:
    """Run by a machine and without a password file, it says so and does not wait."""
    words = ["keys", "new", str(tmp_path / "c.key"), "--name", "books.example/a", "--purpose", "witness"]
    ran = subprocess.run(
        [sys.executable, "-m", "ops.cli", *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).resolve().parents[2],
    )
    assert ran.returncode == 1
    assert "--password-file" in ran.stderr
