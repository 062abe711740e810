"""Questions for a process that reads: functions of a module, so that it finds them by name."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

from ledger.application.conformity_query import Conformity, conformity_of
from ledger.application.reading_process import Inside
from ledger.errors import RuleStands
from ledger.store.reader import Reader


def size_and_process(reader: Reader) -> list[int]:
    """How many entries the book has, and which process says so."""
    return [reader.head().size, os.getpid()]


def refuses(_reader: Reader, got: Any) -> None:
    """Raises an error of our tree with every part."""
    raise RuleStands("no such thing", expected=(1, "a"), got=got, where="field", mend="do it otherwise")


def fails(_reader: Reader) -> None:
    """Raises another error."""
    message = "what nobody thought of"
    raise ZeroDivisionError(message)


def gives_what_cannot_be_sent(_inside: Inside) -> Any:
    """Something that pickle refuses."""
    return lambda: None


def dies(_reader: Reader, *_arguments: Any, **_named: Any) -> None:
    """Ends its process as a lack of memory would."""
    os.kill(os.getpid(), signal.SIGKILL)


def writes(reader: Reader) -> None:
    """Tries to change a view."""
    reader.transaction.rollback()
    reader.transaction.begin_write()
    reader.transaction.run('UPDATE "unit" SET "serial" = \'FORGED\'')
    reader.transaction.commit()


def waits_at(folder: str, reader: Reader, *arguments: Any, **named: Any) -> Conformity:
    """Says that it has begun by one named pipe, and judges the selection once the other is written to."""
    (Path(folder) / "begun").write_text("begun", "utf-8")
    (Path(folder) / "go on").read_text("utf-8")
    return conformity_of(reader, *arguments, **named)


def waits_for_ever(inside: Inside) -> None:
    """Says that it has begun, and then sleeps until a signal ends it."""
    inside.ask("begun")
    while True:
        signal.pause()
