"""Settings: from the environment, each by its name."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from api.settings import Settings, check_read_store, first_line, variable
from ledger.errors import MalformedInput


def test_nothing_set_gives_the_defaults() -> None:
    """An empty environment gives the defaults."""
    assert Settings() == Settings.from_env({"HOME": "/x"})


def test_every_setting_has_its_variable() -> None:
    """Each setting is read from the variable of its name, as its own type."""
    given = {"port": "9000", "token_memory_s": "1.5", "label_stem": "https://id.example.com", "public_burst": "7"}
    read = Settings.from_env({variable(name): text for name, text in given.items()})

    assert (9000, 1.5, "https://id.example.com", 7) == (
        read.port, read.token_memory_s, read.label_stem, read.public_burst,
    )  # fmt: skip
    assert {variable(field.name) for field in msgspec.structs.fields(Settings)} >= {
        "POURBOOK_STORE_URL",
        "POURBOOK_PORT",
    }


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("port", "http"),
        ("port", "-1"),
        ("port", "70000"),
        ("body_limit", "0"),
        ("token_memory_s", "301"),
        ("stop_s", ""),
        ("statement_s", "-1"),
        ("time_zone", "Mars/Base"),
        ("log", "xml"),
        ("traces", "collector:4318"),
        ("read_limit_s", "0"),
    ],
)
def test_a_wrong_setting_is_named(name: str, text: str) -> None:
    """A value that cannot be read, or is out of range, is refused by the variable's name."""
    with pytest.raises(MalformedInput) as refused:
        Settings.from_env({variable(name): text})

    assert variable(name) == refused.value.where


def test_passwords_come_from_the_first_line_of_a_file(tmp_path: Path) -> None:
    """The first line is the password; a file that cannot be read is named."""
    (tmp_path / "password").write_text("the pass word\nnotes\n", encoding="utf-8")
    (tmp_path / "binary").write_bytes(b"\xff\xfe")

    assert "the pass word" == first_line(str(tmp_path / "password"))
    for name in ("missing", "binary", "."):
        with pytest.raises(MalformedInput) as refused:
            first_line(str(tmp_path / name))
        assert str(tmp_path / name) == refused.value.where


@pytest.mark.parametrize(("store", "standby"), [("sqlite:///b.db", "postgresql://s/b"), ("postgresql://p/b", "s")])
def test_only_a_postgresql_server_has_a_standby(store: str, standby: str) -> None:
    """A read store beside a file, or that is no server, is refused by both variables' names."""
    with pytest.raises(MalformedInput, match="standby") as refused:
        check_read_store(Settings(store_url=store, read_store=standby))
    assert "POURBOOK_READ_STORE" in str(refused.value.where)
    check_read_store(Settings(store_url="postgresql://p/b", read_store="postgresql://s/b"))
    check_read_store(Settings(store_url=store))
