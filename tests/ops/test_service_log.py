"""What a service logs: one line an event, in two forms, and no text that may quote a person."""

from __future__ import annotations

import io
import json
import logging
import re
from collections.abc import Iterator
from typing import Any, NoReturn

import pytest

from ops.service_log import FIELDS, handler_of, told_exception

NAME = "Invented Person"


class Failing(Exception):
    """An error whose text quotes what was typed, as a driver's may."""


@pytest.fixture
def logger() -> Iterator[logging.Logger]:
    """A logger that nobody else hears."""
    one = logging.getLogger("pourbook.test-of-lines")
    one.propagate = False
    yield one
    one.handlers.clear()


def lines_of(logger: logging.Logger, form: str) -> io.StringIO:
    """Where a logger writes from now on."""
    written = io.StringIO()
    logger.addHandler(handler_of(form, written))
    return written


def fail() -> NoReturn:
    """Raise with a name in the text."""
    raise Failing(f"row ({NAME})")


def raised() -> Exception:
    """An error with a cause, each with a name in its text."""
    try:
        try:
            fail()
        except Failing as cause:
            raise KeyError(NAME) from cause
    except KeyError as error:
        return error


def test_a_json_line_is_an_object_with_its_fields(logger: logging.Logger) -> None:
    """Time in UTC, level, logger, event, then the fields; one line each, whatever the event holds."""
    written = lines_of(logger, "json")
    logger.error("two\nlines %s", 1, extra={"status": 503, "code": "store-error"})
    logger.warning("more")
    first, second = (json.loads(line) for line in written.getvalue().splitlines())
    assert ["time", "level", "logger", "event", "status", "code"] == list(first)
    assert ("error", logger.name, "two\nlines 1", 503, "store-error") == tuple(list(first.values())[1:])
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", first["time"])
    assert ["time", "level", "logger", "event"] == list(second)


def test_a_field_that_is_not_listed_is_left_out(logger: logging.Logger) -> None:
    """Only the fields of the list are logged, so no library and no call adds one with a name in it."""
    written = lines_of(logger, "json")
    logger.error("event", extra={"typed": NAME, "color_message": NAME, **dict.fromkeys(FIELDS, 1)})
    assert {"time", "level", "logger", "event", *FIELDS} == set(json.loads(written.getvalue()))


@pytest.mark.parametrize("form", ["json", "text"])
def test_an_exception_is_told_without_its_text(logger: logging.Logger, form: str) -> None:
    """Classes and places of an exception and its cause are logged, the texts of neither."""
    written = lines_of(logger, form)
    logger.error("it failed", exc_info=raised())
    told = written.getvalue()
    assert NAME not in told
    assert "Failing" in told
    assert told.index("Failing") < told.index("led to") < told.rindex("KeyError")
    assert "in raised" in told


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (FileNotFoundError(2, "No such file", "/store/book.sqlite"), "[Errno 2] No such file: '/store/book.sqlite'"),
        (ModuleNotFoundError("No module named 'x'"), "No module named 'x'"),
    ],
)
def test_errors_of_files_keep_their_text(error: Exception, told: str) -> None:
    """The keeper needs to know which file it was."""
    assert told_exception(error).endswith(told)


@pytest.mark.parametrize("form", ["json", "text"])
def test_what_the_event_loop_adds_is_left_out(form: str) -> None:
    """The loop's own logger writes what failed, exception and all, below its first line: that line alone is logged."""
    loop: Any = logging.getLogger("asyncio")
    written, before = lines_of(loop, form), loop.propagate
    loop.propagate = False
    try:
        loop.error("Task exception was never retrieved\nfuture: <Task exception=ValueError('%s')>", NAME)
    finally:
        loop.handlers.clear()
        loop.propagate = before
    assert "never retrieved" in written.getvalue()
    assert NAME not in written.getvalue()


def test_a_loop_of_causes_ends() -> None:
    """An exception that is its own cause is told once."""
    error = ValueError(NAME)
    error.__cause__ = error
    assert "ValueError" == told_exception(error)
