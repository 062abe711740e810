"""The lines of a directory of plants: where a plant's table, or one of its serial tables, says what is wrong."""

from __future__ import annotations

import re

from ledger.conformity.toml_text import TomlText
from ledger.errors import MalformedInput, MalformedRulebook

_HEAD = re.compile(r"(?m)^\s*\[\[\s*(plant(?:\s*\.\s*serials)?)\s*\]\]")
_IN_SERIALS = re.compile(r"\$\.plant\[(\d+)\]\.serials\[(\d+)\]")


class PlantLines:
    """File and line of what stands in a table, by the numbers of plant and serial table, both from 0."""

    def __init__(self, source: str, where: str) -> None:
        """Find the heads of the tables in ``source``; ``where`` is the file's name for messages."""
        self._plants = TomlText(source, where, "plant")
        self._serials = TomlText(source, where, "plant.serials")
        self._of_plant: list[list[int]] = []
        count = 0
        for head in _HEAD.finditer(source):
            if head[1] == "plant":
                self._of_plant.append([])
            elif self._of_plant:
                self._of_plant[-1].append(count)
                count += 1

    def plant(self, number: int, *keys: str) -> str:
        """Where the first of the keys stands in a plant's table, else where that begins."""
        return self._plants.place(number, *keys)

    def serials(self, number: int, place: int, *keys: str) -> str:
        """The same in one of its serial tables; where these are written in line, where the plant names them."""
        tables = self._of_plant[number] if number < len(self._of_plant) else []
        return self._serials.place(tables[place], *keys) if place < len(tables) else self.plant(number, "serials")


def directory_error(error: MalformedRulebook, source: bytes, where: str) -> MalformedInput:
    """What the reader of TOML files refused, as an error of a directory, with the line of the serial table if it is one."""
    at, inside = error.where, _IN_SERIALS.search(error.problem)
    if inside is not None:
        keys = re.findall(r"`(\w+)`", error.problem.split(" - at ")[0])
        keys += re.findall(r"\.([a-z_]+)", error.problem)[::-1]
        at = PlantLines(source.decode("utf-8", "replace"), where).serials(int(inside[1]), int(inside[2]), *keys)
    return MalformedInput(error.problem, expected=error.expected, got=error.got, where=at, mend=error.mend)
