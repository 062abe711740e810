"""The format chapter of DEVELOPERS.md, made anew without this project's code."""

import hashlib
import json
import re
from pathlib import Path

import rfc8785

from ledger.book.entry import entry_hash, parse_entry


def _chapter(project: Path) -> tuple[str, str, str]:
    text = (project / "DEVELOPERS.md").read_text()
    chapter = text.split("**Worked entry.**")[1]
    previous, digest = re.findall(r"```\n([0-9a-f]{64})\n```", chapter)
    (entry,) = re.findall(r"```json\n(.*)\n```", chapter)
    return previous, entry, digest


def test_the_worked_entry_has_the_hash_that_the_chapter_gives(project: Path) -> None:
    """RFC 9162 leaf hash of the printed bytes, by hashlib alone and by the book."""
    _, entry, digest = _chapter(project)

    assert digest == hashlib.sha256(b"\x00" + entry.encode()).hexdigest()
    assert digest == entry_hash(entry.encode()).hex()


def test_the_worked_entry_is_canonical(project: Path) -> None:
    """RFC 8785 by an independent package gives the printed bytes, and the strict parser takes them."""
    previous, entry, _ = _chapter(project)

    assert entry.encode() == rfc8785.dumps(json.loads(entry))
    assert previous == parse_entry(entry.encode()).prev


def test_the_sealed_supplier_is_what_the_chapter_says(project: Path) -> None:
    """The framing of a sealed field, spelt out with hashlib."""
    _, entry, _ = _chapter(project)
    path, value, salt = b"0/supplier", b'"Example Resins"', bytes([7]) * 32
    framed = b"pourbook/sealed-field/1\n" + salt + len(path).to_bytes(4) + path + len(value).to_bytes(4) + value

    sealed = json.loads(entry)["said"]["records"][0]["supplier"]["sealed"]

    assert sealed == hashlib.sha256(framed).hexdigest()
