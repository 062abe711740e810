"""A TOML file of ours read strictly: a head, then one kind of table many times, and the line of whatever is wrong.

Used for rulebooks (``[[requirement]]``) and checklists (``[[item]]``).  Lines are looked for in the text, since the TOML
reader keeps none: a key is found where it begins a line, and otherwise the line is that of its table's first one.
"""

from __future__ import annotations

import re
import tomllib
from typing import TypeVar

import msgspec

from ledger.errors import MalformedRulebook

T = TypeVar("T")

LARGEST_FILE = 1_000_000
"""Bytes of a file."""

_WORD = re.compile(r"[a-z0-9][a-z0-9._-]{0,39}", re.ASCII)


class TomlText:
    """The lines of a file, its name for messages, and the name of its repeated table."""

    def __init__(self, source: str, where: str, table: str) -> None:
        """Find the heads of the tables in ``source``."""
        self.where = where
        self._lines = source.splitlines()
        self._table = re.escape(table)
        head = re.compile(rf"\s*\[\[\s*{self._table}\s*\]\]")
        self._heads = [at for at, line in enumerate(self._lines) if head.match(line)]

    def place(self, number: int, *keys: str) -> str:
        """File and line of the first of the keys that the table of that number holds, else of the table's head."""
        if number >= len(self._heads):
            return self.where
        begin = self._heads[number]
        end = self._heads[number + 1] if number + 1 < len(self._heads) else len(self._lines)
        return self._line_of(keys, begin, end) or f"{self.where} line {begin + 1}"

    def head_place(self, *keys: str) -> str:
        """File and line of the first of the keys found before the first table, else the file."""
        end = next((at for at, line in enumerate(self._lines) if line.lstrip().startswith("[")), len(self._lines))
        return self._line_of(keys, 0, end) or self.where

    def _line_of(self, keys: tuple[str, ...], begin: int, end: int) -> str:
        for key in keys:
            name = re.compile(rf"\s*(\[\s*{self._table}\s*\.\s*|\w+\s*\.\s*)?{re.escape(key)}\s*[=.\]]")
            for at in range(begin, end):
                if name.match(self._lines[at]):
                    return f"{self.where} line {at + 1}"
        return ""


def read_toml(text: bytes | str, shape: type[T], where: str, table: str) -> tuple[T, TomlText]:
    """The file as ``shape``, and its lines.

    Raises MalformedRulebook, whose ``where`` adds the line when it can be told: a file that is too large, bytes that are
    no UTF-8 TOML, unknown or missing keys, values of another type.
    """
    if len(text) > LARGEST_FILE:
        raise MalformedRulebook("file is too large", expected=f"at most {LARGEST_FILE} bytes", where=where)
    try:
        source = text if isinstance(text, str) else text.decode("utf-8")
        tables = tomllib.loads(source)
    except (ValueError, RecursionError) as error:
        problem = _first_line(error)
        at = re.search(r"\(at line (\d+), column \d+\)$", problem)
        line = f" line {at[1]}" if at else ""
        raise MalformedRulebook(f"file is no TOML: {problem}", where=f"{where}{line}") from error
    lines = TomlText(source, where, table)
    try:
        return msgspec.convert(tables, shape), lines
    except msgspec.ValidationError as error:
        raise _schema_error(error, lines, table) from error


def check_word(text: str, where: str) -> None:
    """The text is an id or a word of ours, or MalformedRulebook is raised."""
    if not _WORD.fullmatch(text):
        raise MalformedRulebook(
            "word is out of form", expected="1 to 40 lower-case letters, digits, . _ -", got=text, where=where
        )


def _schema_error(error: msgspec.ValidationError, lines: TomlText, table: str) -> MalformedRulebook:
    message = _first_line(error)
    number = re.search(rf"\$\.{re.escape(table)}\[(\d+)\]", message)
    keys = re.findall(r"`(\w+)`", message.split(" - at ")[0]) + re.findall(r"\.([a-z_]+)", message)[::-1]
    # An unknown key has a line of its own; a missing one falls back to the head of its table.
    where = lines.place(int(number[1]), *keys) if number else lines.head_place(*keys)
    return MalformedRulebook(f"schema is not kept: {message}", where=where)


def _first_line(error: Exception) -> str:
    text = str(error) or type(error).__name__
    return text.splitlines()[0][:200]
