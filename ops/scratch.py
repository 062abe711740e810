"""A folder for clear copies of what is encrypted: beside a file, its owner's alone, gone afterwards."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ledger.errors import MalformedInput


@contextmanager
def scratch_beside(file: Path) -> Iterator[Path]:
    """A folder of mode 0700 beside ``file``, removed with all that is in it. Raises MalformedInput."""
    try:
        folder = Path(tempfile.mkdtemp(prefix=".pourbook-", dir=file.parent))
    except OSError as error:
        raise MalformedInput(f"no file can be made there: {error.strerror}", where=str(file.parent)) from error
    try:
        yield folder
    finally:
        shutil.rmtree(folder)
