"""The lock files: whole, hashed, and naming no place to fetch from."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

LOCKS = ("runtime.lock", "dev.lock", "parquet.lock", "oidc.lock", "evidence.lock", "traces.lock", "archive.lock")


def pins_of(lock: Path) -> dict[str, set[str]]:
    """The versions that a lock pins, by package; more than one where they differ by platform."""
    pins: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([a-z0-9-]+)==(\S+)", lock.read_text("utf-8"), re.MULTILINE):
        pins.setdefault(name, set()).add(version)
    return pins


@pytest.mark.parametrize("name", LOCKS)
def test_lock_names_no_address(project: Path, name: str) -> None:
    """No index, link or local path stands in a lock."""
    text = (project / "ops" / name).read_text("utf-8")
    assert re.findall(r"https?:|file:|--index|--extra-index|--find-links|^/", text, re.MULTILINE) == []


@pytest.mark.parametrize("name", LOCKS)
def test_every_pin_has_a_hash(project: Path, name: str) -> None:
    """Each pinned package is followed by at least one SHA-256."""
    blocks = re.split(r"\n(?=[a-z0-9])", (project / "ops" / name).read_text("utf-8"))
    assert [block.split()[0] for block in blocks if "--hash=sha256:" not in block] == []


def test_development_lock_includes_the_other_locks(project: Path) -> None:
    """Tests run on the very versions that users get."""
    dev = pins_of(project / "ops" / "dev.lock")
    for name in LOCKS:
        pins = pins_of(project / "ops" / name)
        assert {package: dev.get(package) for package in pins} == pins, name
