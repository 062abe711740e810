"""The machine that a run was made on, in one line: a figure without it says little."""

from __future__ import annotations

import os
import platform
import sqlite3
from pathlib import Path


def machine_line(database: str = f"SQLite {sqlite3.sqlite_version}") -> str:
    """Processor, cores that this process may use, kernel, Python, database."""
    return (
        f"{_processor()}, {_cores()} cores, {platform.system()} {platform.release()}, "
        f"Python {platform.python_version()}, {database}"
    )


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _processor() -> str:
    listing = Path("/proc/cpuinfo")
    if listing.exists():
        for line in listing.read_text("utf-8").splitlines():
            name, _, value = line.partition(":")
            if name.strip() == "model name":
                return value.strip()
    return platform.processor() or platform.machine()
