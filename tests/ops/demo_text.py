"""What the demo printed, taken apart: its ten parts, and what is said under a label."""

from __future__ import annotations

import re


def section(walked: str, number: int) -> str:
    """One of the ten parts of what was printed."""
    return re.split(r"^\d+ ", walked, flags=re.MULTILINE)[number]


def told(walked: str) -> dict[str, str]:
    """What is said under each trouble's title, in the order printed, lines joined."""
    parts = re.split(r"^  - (.{1,16}?)  +", section(walked, 5), flags=re.MULTILINE)[1:]
    return {title: " ".join(text.split()) for title, text in zip(parts[::2], parts[1::2], strict=True)}


def answers(walked: str) -> dict[str, str]:
    """What is said under each label of the verdicts, lines joined."""
    told_of: dict[str, str] = {}
    for line in section(walked, 4).splitlines()[1:]:
        label, text = line[2:20].rstrip(), line[21:].strip()
        if text:
            key = label or next(reversed(told_of))
            told_of[key] = f"{told_of.get(key, '')} {text}".strip()
    return told_of


def labels(part: str) -> list[str]:
    """The labels of a part, in the order printed."""
    return [line[2:20].rstrip() for line in part.splitlines() if re.match(r"  [a-z]", line)]


def found(pattern: str, text: str) -> tuple[str, ...]:
    """The groups of a pattern that must be there."""
    match = re.search(pattern, text)
    assert match is not None, (pattern, text)
    return match.groups()
