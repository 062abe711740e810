"""What a service logs, and how: readable lines, or one JSON object a line (``POURBOOK_LOG=json``), on standard error.

The format it owns, of which the first four are never left out::

    {"time": "2026-03-10T08:00:00.000Z", "level": "error", "logger": "pourbook", "event": ...,
     "status": 500, "code": "internal-error", "incident": ..., "route": "/claims/{claim}", "exception": ...}

Neither form holds personal data.  The text of an exception may quote what a person typed or what a row holds, so of an
exception only its class, the code of the database, and where it was raised are told; the few classes whose text is of
files and statements alone say that too.  Fields are those of ``FIELDS`` and no others.
"""

from __future__ import annotations

import copy
import logging
import sys
import threading
import traceback
from datetime import UTC, datetime
from types import TracebackType
from typing import Any, TextIO

import structlog

READABLE = "%(asctime)s %(name)s %(levelname)s %(message)s"
FIELDS = ("status", "code", "incident", "route", "where", "cause")
"""What a call may say beside its event, by ``extra``."""

LOG = logging.getLogger("pourbook")

Caught = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


def begin_logging(form: str) -> None:
    """Have this process log on standard error, ``form`` being ``text`` or ``json``; and what ends a thread too.

    Where a program that this runs in has said already how it logs, that stays.
    """
    if logging.getLogger().handlers:
        return
    logging.basicConfig(level=logging.WARNING, handlers=[handler_of(form, sys.stderr)])
    logging.captureWarnings(capture=True)
    sys.excepthook = lambda kind, error, trace: LOG.critical("ended by an error", exc_info=(kind, error, trace))
    threading.excepthook = _thread_ended


def handler_of(form: str, stream: TextIO) -> logging.Handler:
    """What writes one line an event to a stream."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(_json_lines() if form == "json" else Readable(READABLE))
    return handler


def told_exception(error: BaseException) -> str:
    """An exception without what its text may quote: classes and places, the first cause first."""
    lines: list[str] = []
    seen: set[int] = set()
    following: BaseException | None = error
    while following is not None and id(following) not in seen:
        seen.add(id(following))
        frames = "".join(traceback.format_tb(following.__traceback__))
        lines.insert(0, f"{frames}{_class_of(following)}")
        following = following.__cause__ or (None if following.__suppress_context__ else following.__context__)
    return "\nled to\n".join(lines)


class Readable(logging.Formatter):
    """Readable lines, an exception below its line."""

    def format(self, record: logging.LogRecord) -> str:
        """The line, whatever another handler has kept with the record."""
        record = copy.copy(record)
        record.exc_text = None
        return super().format(record)

    def formatException(self, ei: Caught) -> str:  # noqa: N802  # named by the standard library
        """See `told_exception`."""
        return "" if ei[1] is None else told_exception(ei[1])

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802  # as above
        """The line, of a library's event only what cannot quote a value."""
        record.message = _event_of(record.name, record.message)
        return super().formatMessage(record)


def _json_lines() -> logging.Formatter:
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            _with_time,
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.stdlib.ExtraAdder(allow=FIELDS),
        ],
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            _without_quotes,
            structlog.processors.JSONRenderer(sort_keys=False, default=str),
        ],
    )


def _with_time(_logger: Any, _method: str, event: structlog.typing.EventDict) -> structlog.typing.EventDict:
    made = datetime.fromtimestamp(event["_record"].created, UTC)
    return {"time": f"{made:%Y-%m-%dT%H:%M:%S}.{made.microsecond // 1000:03}Z", **event}


def _without_quotes(_logger: Any, _method: str, event: structlog.typing.EventDict) -> structlog.typing.EventDict:
    caught = event.pop("exc_info", None)
    if caught and caught[1] is not None:
        event["exception"] = told_exception(caught[1])
    first = {name: event.pop(name) for name in ("time", "level", "logger", "event")}
    return {**first, "event": _event_of(first["logger"], first["event"]), **event}


def _event_of(logger: str, text: str) -> str:
    """The event loop adds the representation of what failed, exception and all, in lines of its own."""
    return text.split("\n", 1)[0] if logger == "asyncio" else text


def _class_of(error: BaseException) -> str:
    kind = type(error)
    name = kind.__qualname__ if kind.__module__ == "builtins" else f"{kind.__module__}.{kind.__qualname__}"
    code = getattr(error, "sqlstate", None)
    if isinstance(code, str):  # PostgreSQL's text may show the row
        return f"{name} (SQLSTATE {code})"
    if kind.__module__ == "sqlite3" or (kind.__module__ == "builtins" and isinstance(error, OSError | ImportError)):
        return f"{name}: {error}"
    return name


def _thread_ended(ended: threading.ExceptHookArgs) -> None:
    if ended.exc_value is not None and not isinstance(ended.exc_value, SystemExit):
        LOG.critical("thread ended by an error", exc_info=ended.exc_value)
