"""The third verifier, run: commands of VERIFY.md by bash, as a reader would paste them."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Collection
from pathlib import Path
from typing import NamedTuple

from ledger.errors import Unsupported
from ledger.evidence.files import verify_text

TOOLS = ("bash", "unzip", "openssl", "sed", "od", "cmp", "tail", "head", "tr")

_BLOCK = re.compile(r"^## (?:(\d+)\. )?[^\n]*\n(?:(?!^## ).)*?^```sh\n(.*?)^```", re.MULTILINE | re.DOTALL)


class Said(NamedTuple):
    """What the commands said was right, what was wrong, and everything that they printed."""

    right: list[str]
    wrong: list[str]
    text: str


def commands(cases: Collection[int] = ()) -> str:
    """The shell blocks of the page, one after another: of all its cases, or of some and what comes before the first."""
    found = _BLOCK.findall(verify_text().decode())
    return "".join(block for number, block in found if not (cases and number) or int(number) in cases)


def run_commands(
    raw: bytes, folder: Path, given: dict[str, str], cases: Collection[int] = (), tools: Collection[str] = TOOLS
) -> Said:
    """Run them on these bytes, in ``folder``; ``given`` is what the page asks of its reader (KEY, WITNESSES, TSA_ROOT).

    Raises Unsupported where one of ``tools`` is not on the path. All cases take a tenth of a second an entry.
    """
    where = {tool: shutil.which(tool) for tool in tools}
    missing = [tool for tool, found in where.items() if found is None]
    if missing:
        raise Unsupported(f"public tools are not on this machine: {', '.join(missing)}")
    file = folder / "handed over.zip"
    file.write_bytes(raw)
    path = os.pathsep.join(dict.fromkeys(str(Path(found).parent) for found in where.values() if found))
    environment = {"PATH": path, "DOSSIER": str(file), "TMPDIR": str(folder), **given}
    done = subprocess.run(
        ["bash", "--noprofile", "--norc"], input=commands(cases), env=environment, cwd=folder, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    lines = done.stdout.splitlines()
    right, wrong = (
        [line.removeprefix(word) for line in lines if line.startswith(word)] for word in ("right: ", "WRONG: ")
    )
    return Said(right, wrong, done.stdout + done.stderr)
