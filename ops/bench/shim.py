"""A small library put before a process's fsync: it counts the calls, and can make each of them slower.

A flush costs very little on some machines and much on others, so durable rates do not carry over.  The count does, and
so does a ratio taken with some milliseconds added to each flush.  Needs Linux and a C compiler; where there is none,
what needs it is left out and the run says so.
"""

from __future__ import annotations

import platform
import shutil
import subprocess
import sys
from pathlib import Path

SOURCE = Path(__file__).with_name("slow_fsync.c")


class Shim:
    """The built library. ``command`` puts it before a program."""

    def __init__(self, library: Path) -> None:
        """Use the library at this path."""
        self._library = library

    def command(self, *words: str, slow_us: int = 0, count_file: Path | None = None) -> list[str]:
        """``words`` as a command whose flushes each take ``slow_us`` microseconds longer, and are counted in a file."""
        given = self.environment(slow_us=slow_us, count_file=count_file)
        return ["env", *(f"{name}={value}" for name, value in given.items()), *words]

    def environment(self, *, slow_us: int = 0, count_file: Path | None = None) -> dict[str, str]:
        """The same as variables of a program's environment. The file is made anew, for every user to write."""
        given = {"LD_PRELOAD": str(self._library), "SLOW_FSYNC_US": str(slow_us)}
        if count_file is not None:
            count_file.write_bytes(bytes(8))
            count_file.chmod(0o666)
            given["SLOW_FSYNC_COUNT"] = str(count_file)
        return given


def read_count(count_file: Path) -> int:
    """Flushes counted so far."""
    return int.from_bytes(count_file.read_bytes(), sys.byteorder)


def build_shim(folder: Path) -> tuple[Shim | None, str]:
    """Build the library in a folder; without it, the reason why there is none."""
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if platform.system() != "Linux":
        return None, "flushes can be counted and slowed down on Linux only"
    if compiler is None:
        return None, "no C compiler here (cc, gcc or clang)"
    library = folder / "slow_fsync.so"
    built = subprocess.run(
        [compiler, "-O2", "-shared", "-fPIC", "-o", str(library), str(SOURCE), "-ldl"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if built.returncode != 0:
        return None, f"the library did not build: {built.stderr.strip().splitlines()[:1]}"
    return Shim(library), ""
