"""The words of a report for the codes of records."""

from __future__ import annotations

OUTCOMES = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "not_measured": "not measured",
    "barred": "barred from some events",
    "not_applicable": "not applicable",
}

SHORT = {
    "conforms": "",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "not_measured": "not measured",
    "barred": "barred",
    "not_applicable": "n/a",
}
"""What stands in a narrow cell; nothing for what is in order."""

STAGES = {
    "shell": "Shell lot",
    "core": "Core lot",
    "block": "Block lot",
    "batch": "Batch",
    "material": "Material lot",
    "imported": "Lot from before the book",
}
"""From the ball back to the drum."""

STATES = {"made": "made, without a number", "reworked": "in rework", "destroyed": "destroyed in a test"}
GRADES = {
    "first": "first quality",
    "second": "second quality",
    "house": "house ball",
    "demo": "demonstration ball",
}

PROVENANCES = {
    "read": "read in the body's own text",
    "second-hand": "second-hand: quoted elsewhere",
    "memory": "from memory: not read anywhere",
}

CURES = {
    "block-demould": "Block in its mould",
    "block-rest": "Block at rest",
    "core-demould": "Core in its mould",
    "core-rest": "Core at rest",
    "shell-demould": "Shell in its mould",
    "final-cure": "Final cure",
}

DECISIONS = {"simple": "simple acceptance", "guarded": "guarded acceptance", "three_way": "three outcomes"}

MARKS = {"read": "", "second-hand": "\u00b2", "memory": "\u00b3"}
"""The sign beside a limit that was not read in the body's own text."""


def word(table: dict[str, str], code: str) -> str:
    """The word of a code; the code with its underscores and dashes opened where there is none."""
    return table.get(code, code.replace("_", " ").replace("-", " "))


def duration(seconds: int) -> str:
    """A length of time in its two largest units: "6 min 20 s", "24 h", "2 d 3 h"."""
    parts: list[str] = []
    for name, size in (("d", 86_400), ("h", 3600), ("min", 60), ("s", 1)):
        if name == "d" and seconds < 2 * size:
            continue
        number, seconds = divmod(seconds, size)
        if number:
            parts.append(f"{number} {name}")
        elif parts:
            break
        if len(parts) == 2:
            break
    return " ".join(parts) or "0 s"


def instant(text: str) -> str:
    """An instant of the book's form as people read it, to the minute, with its offset."""
    day, _, rest = text.partition("T")
    offset = rest[-6:]
    return f"{day} {rest[:5]} {'UTC' if offset == '+00:00' else f'UTC{offset}'}"


def many(number: int, one: str, more: str = "") -> str:
    """The number and its word."""
    return f"{number:,} {one if number == 1 else more or f'{one}s'}"
