"""The shell that sets an environment up: what it refuses, and in which one sentence.

Each test runs the real script in a folder of its own with programs of its own first on the path, so that nothing
is installed and no network is used.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

LOCK = "alembic==1.20.1 --hash=sha256:" + "0" * 64 + "\n"
SHELL_TOOLS = ("bash", "dirname", "uname", "cmp", "cp", "cat", "grep", "mkdir", "rm", "tee", "chmod")


@pytest.fixture
def place(tmp_path: Path, project: Path) -> Path:
    """A folder with the shell files, one lock, and a `bin` that holds the ordinary shell tools alone."""
    (tmp_path / "ops").mkdir()
    for name in ("environment.sh", "demo", "test"):
        shutil.copy(project / "ops" / name, tmp_path / "ops" / name)
    for name in ("evidence.lock", "dev.lock"):
        (tmp_path / "ops" / name).write_text(LOCK, "utf-8")
    for locked in ("browser/axe", "outside/epcis2"):
        shutil.copytree(project / "tests" / locked, tmp_path / "tests" / locked)
    (tmp_path / "bin").mkdir()
    for tool in SHELL_TOOLS:
        found = shutil.which(tool)
        assert found is not None
        (tmp_path / "bin" / tool).symlink_to(found)
    return tmp_path


def add_program(place: Path, name: str, lines: str) -> None:
    """Put a shell program on the path of `place`."""
    path = place / "bin" / name
    path.unlink(missing_ok=True)
    path.write_text(f"#!/bin/sh\n{lines}\n", "utf-8")
    path.chmod(0o755)


def add_python(place: Path, *, name: str = "python3.11", venv: str = "exit 1", modules: bool = True) -> None:
    """Put a Python on the path that is new enough; `venv` is what `-m venv` does."""
    has_modules = "exit 0" if modules else "exit 1"
    add_program(
        place,
        name,
        f'case "$*" in *ensurepip*) {has_modules};; "-m venv"*) {venv};; --version) echo Python 3.11.0;; esac',
    )


def run_demo(place: Path, **extra: str) -> subprocess.CompletedProcess[str]:
    """Run `ops/demo --once` with that path, an empty home and no terminal."""
    environment = {"PATH": str(place / "bin"), "HOME": str(place / "home"), **extra}
    return subprocess.run(
        [str(place / "bin" / "bash"), str(place / "ops" / "demo"), "--once"],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def python_whose_pip_says(place: Path, said: str) -> None:
    """A Python whose environment has a pip that prints `said` and fails."""
    program = f'#!/bin/sh\ncase "$*" in *"pip install"*) echo "{said}"; exit 1;; *) exit 0;; esac\n'
    (place / "broken").write_text(program, "utf-8")
    (place / "broken").chmod(0o755)
    add_python(
        place,
        venv='for last; do :; done; mkdir -p "$last/bin"; cat "$BROKEN" > "$last/bin/python"; chmod 755 "$last/bin/python"; exit 0',
    )


def test_no_python_is_said_in_one_sentence(place: Path) -> None:
    """Without any Python the mend names the versions that do."""
    ran = run_demo(place)
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr.splitlines() == [
        "No Python from 3.11 to 3.14 was found: install one (as python3.11 to python3.14, or python3) and run this again."
    ]


def test_old_python_does_not_count(place: Path) -> None:
    """A Python that is too old is passed over."""
    add_program(place, "python3", "exit 1")
    assert run_demo(place).stderr.startswith("No Python from 3.11 to 3.14 was found")


def test_missing_venv_is_said_in_one_sentence(place: Path) -> None:
    """A Python without venv or pip is named, with the package that mends it."""
    add_python(place, modules=False)
    ran = run_demo(place)
    assert ran.returncode == 1
    assert ran.stderr.splitlines() == [
        "python3.11 has no venv or pip: install them (Debian and Ubuntu: apt-get install python3.11-venv) and run this again."
    ]


def test_python_without_venv_is_passed_over_for_one_with_it(place: Path) -> None:
    """The next Python is tried where the first has no venv."""
    add_python(place, modules=False)
    add_python(place, name="python3.12", venv="echo tried; exit 1")
    ran = run_demo(place)
    assert "python3.12 could not make a virtual environment" in ran.stderr


@pytest.mark.parametrize("system", ["FreeBSD amd64", "Linux riscv64", "MINGW64_NT-10.0 x86_64", "Linux i686"])
def test_other_systems_are_refused_in_one_sentence(place: Path, system: str) -> None:
    """Anything but Linux on x86-64 or arm64, and macOS, is refused before anything is made."""
    kernel, machine = system.split()
    add_program(place, "uname", f'[ "$1" = -s ] && echo {kernel} || echo {machine}')
    ran = run_demo(place)
    assert ran.returncode == 1
    assert ran.stderr.splitlines() == [
        f"Pourbook runs on Linux (x86-64, arm64) and macOS; this is {kernel} on {machine}."
    ]
    assert not (place / ".pourbook").exists()


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (
            "NewConnectionError: no route; No matching distribution found for x",
            "The package registry cannot be reached",
        ),
        ("ERROR: No matching distribution found for pillow==13.0.0", "A locked package has no ready-made build"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES", "A downloaded package differs from the one that was locked"),
        ("OSError: [Errno 28] No space left on device", "The disk is full"),
        ("something else", "Installing the packages failed"),
    ],
)
def test_failed_installation_is_explained(place: Path, said: str, sentence: str) -> None:
    """Each way an installation fails has a sentence of its own, and leaves no stamp behind."""
    python_whose_pip_says(place, said)
    ran = run_demo(place, BROKEN=str(place / "broken"))
    assert ran.returncode == 1
    assert ran.stderr.splitlines()[-1].startswith(sentence)
    assert not (place / ".pourbook" / "venv" / "installed-from").exists()


def test_ready_environment_is_used_as_it_is(place: Path) -> None:
    """With a stamp that matches, nothing is set up and the words go through to the demo."""
    venv = place / ".pourbook" / "venv"
    (venv / "bin").mkdir(parents=True)
    (venv / "installed-from").write_text(f"{place.resolve()}\n{LOCK}", "utf-8")
    program = venv / "bin" / "python"
    program.write_text('#!/bin/sh\n[ "$1" = -c ] || echo "ran: $*"\n', "utf-8")
    program.chmod(0o755)
    ran = run_demo(place)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "ran: -m ops.demo --once\n", "")


def test_changed_lock_sets_up_anew(place: Path) -> None:
    """An environment made from another lock is not used."""
    venv = place / ".pourbook" / "venv"
    (venv / "bin").mkdir(parents=True)
    (venv / "installed-from").write_text(f"{place.resolve()}\nolder lock\n", "utf-8")
    assert run_demo(place).stderr.startswith("No Python from 3.11 to 3.14 was found")


def _ops_test(place: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """`ops/test` on a machine that has nothing but what lies in the folder."""
    program = place / "bin" / "python"
    program.write_text('#!/bin/sh\necho "$*"\n', "utf-8")
    program.chmod(0o755)
    return subprocess.run(
        [str(place / "bin" / "bash"), str(place / "ops" / "test"), *words],
        env={"PATH": str(place / "bin"), "POURBOOK_VENV": str(place)},
        capture_output=True,
        text=True,
        check=False,
    )


def _add_test_programs(place: Path, npm: str) -> None:
    """Everything of the system that `ops/test` looks for; ``npm`` is what that one does."""
    for name in ("strace", "chromium", "openssl", "pdfsig", "unzip"):
        add_program(place, name, "exit 0")
    add_program(place, "npm", npm)


def test_install_system_is_taken_and_full_is_passed_on(place: Path) -> None:
    """With the system's packages there, none is installed, what tests check with is fetched once, and a skip is a failure."""
    _add_test_programs(place, f'echo "$*" >> {place}/npm.asked')
    runs = [_ops_test(place, "--full", "--install-system", "tests/book", "-x") for _ in range(2)]
    fetched = [place.resolve() / ".pourbook" / name for name in ("axe", "epcis2")]
    assert ["-m pytest -n 2 --dist loadfile --no-loadscope-reorder --full --no-skips tests/book -x\n"] * 2 == [
        ran.stdout for ran in runs
    ]
    assert (place / "npm.asked").read_text("utf-8") == "".join(
        f"ci --prefix {folder} --ignore-scripts --no-audit --no-fund --loglevel=error\n" for folder in fetched
    )
    assert all((folder / "package-lock.json").is_file() for folder in fetched)


def test_checker_that_cannot_be_fetched_is_said_in_one_sentence(place: Path) -> None:
    """When npm fails the run stops and says so, and the next one tries again."""
    _add_test_programs(place, "exit 1")
    ran = _ops_test(place, "--install-system")
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr.startswith("The accessibility checker could not be fetched")
    _add_test_programs(place, "exit 0")
    assert _ops_test(place, "--install-system").returncode == 0


def test_install_system_says_what_it_lacks(place: Path) -> None:
    """Without a package and without its installer it stops in one sentence; without the option it goes on."""
    ran = _ops_test(place, "--install-system")
    assert ran.returncode != 0
    assert "--install-system needs apt-get, which is not here." in ran.stderr
    assert _ops_test(place).stdout == "-m pytest -n 2 --dist loadfile --no-loadscope-reorder\n"


def test_install_system_installs_what_is_missing_alone(place: Path) -> None:
    """Programs that are there are left as they are; a browser by another name counts."""
    _add_test_programs(place, "exit 0")
    (place / "bin" / "strace").unlink()
    (place / "bin" / "chromium").rename(place / "bin" / "google-chrome")
    add_program(place, "apt-get", f'echo "$*" >> {place}/apt.asked')
    assert _ops_test(place, "--install-system").returncode == 0
    assert (place / "apt.asked").read_text("utf-8") == "update -qq\ninstall -y -qq strace\n"


def test_no_skips_fails_a_run_with_a_skip(tmp_path: Path, project: Path) -> None:
    """With --no-skips a skipped test fails the run, and the run says why; without it the run passes."""
    shutil.copy(project / "tests" / "conftest.py", tmp_path / "conftest.py")
    (tmp_path / "test_example.py").write_text(
        "import pytest\n\n@pytest.mark.skip(reason='no browser here')\ndef test_page():\n    assert False\n", "utf-8"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-rs", "-q", *options, str(tmp_path)],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": ""},
            capture_output=True,
            text=True,
            check=False,
        )
        for options in ([], ["--no-skips"], ["--no-skips", "-n", "1"])
    ]
    assert [run.returncode for run in runs] == [0, 1, 1]
    assert all("no browser here" in run.stdout for run in runs)
    assert "this run allows none" in runs[2].stdout


def test_long_runs_wait_for_full(tmp_path: Path, project: Path) -> None:
    """A test marked full is left out by name, and runs with --full."""
    shutil.copy(project / "tests" / "conftest.py", tmp_path / "conftest.py")
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers = full: long\n", "utf-8")
    (tmp_path / "test_example.py").write_text(
        "import pytest\n\n@pytest.mark.full\ndef test_long():\n    pass\n", "utf-8"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-rs", *options, str(tmp_path)],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
        for options in ([], ["--full"])
    ]
    assert "a long run; bash ops/test --full runs it" in runs[0].stdout
    assert "1 passed" in runs[1].stdout
