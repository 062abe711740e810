"""What all tests share: the options of the run, and how Hypothesis behaves in it."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples on every run and no deadline, so that a slow or busy machine changes no result.
settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("ci")

# A run in the background of a shell ignores Ctrl-C, and so would every service that a test starts and stops by it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

NO_SKIPS = "a test was skipped, and this run allows none (--no-skips)"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the two options that `ops/test` gives."""
    parser.addoption("--full", action="store_true", help="run the long tests too")
    parser.addoption("--no-skips", action="store_true", help="a skipped test fails the run")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the long files first, so that none is left for the end, where one process would wait for it.

    Leave the long runs out, each named in the closing summary, unless they are asked for.
    """
    long = {test.path for test in items if test.get_closest_marker("full")}
    items.sort(key=lambda test: (test.path not in long, test.path.parent.name != "browser"))
    if config.getoption("--full"):
        return
    for test in items:
        if test.get_closest_marker("full"):
            test.add_marker(pytest.mark.skip(reason="a long run; bash ops/test --full runs it"))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a run that allows no skips and had one; with xdist only the process that reports knows them all."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not session.config.getoption("--no-skips"):
        return
    if reporter.stats.get("skipped") and session.exitstatus in {pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED}:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say why such a run failed."""
    if config.getoption("--no-skips") and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line(f"failed: {NO_SKIPS}", red=True)


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's own folder."""
    return Path(__file__).resolve().parent.parent
