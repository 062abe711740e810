"""`pourbook accounts`: who is there, a first password, a code for a device."""

from __future__ import annotations

import getpass
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.devices import device_account, exchange_code
from ledger.application.pourbook import wall_clock_ms
from ledger.application.sign_in import session_account, sign_in
from ledger.store.accounts import add_account, close_account
from ledger.store.engine import Store, open_store
from ops.cli import main
from ops.demo_walk import people
from tests.stores import fresh_file

PASSWORD = "several words of no order"


@pytest.fixture
def url(tmp_path: Path) -> str:
    """The address of a store that is made by opening it."""
    return fresh_file(tmp_path)


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """A store with a keeper, a station, two of one name and one whose account is closed."""
    opened = open_store(url)
    add_account(opened, "A keeper", ["admin", "quality"], 1)
    add_account(opened, "Engraving", ["station"], 2)
    for at in (3, 4):
        add_account(opened, "Twin", ["desk"], at)
    close_account(opened, add_account(opened, "Gone", ["desk"], 5).account, 6)
    yield opened
    opened.close()


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Run the command; its exit code and what it printed."""
    code = main(["accounts", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_accounts_are_listed(store: Store, url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Those in use with id, name and roles; closed ones are left out."""
    code, out, _ = told(capsys, "list", "--store", url)
    assert (0, 4) == (code, len(out.splitlines()))
    assert re.fullmatch(r"a-[0-9a-f]{16}  A keeper  admin, quality", out.splitlines()[0])
    assert "Gone" not in out


def test_a_keeper_gets_a_first_password(
    store: Store, url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a file's first line, for good or to be changed; it is not printed."""
    file = tmp_path / "password"
    file.write_text(f"{PASSWORD}\nmore\n", "utf-8")
    for option in ((), ("--must-change",)):
        code, out, _ = told(capsys, "password", "a KEEPER", "--password-file", str(file), *option, "--store", url)
        assert (0, False) == (code, PASSWORD in out)
        now = wall_clock_ms()
        session = session_account(store, sign_in(store, "A keeper", PASSWORD, now), now)
        assert bool(option) is session.must_change


def test_a_password_is_typed_twice(
    store: Store, url: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """At a terminal; two that differ change nothing, and without a terminal the option is named."""
    typed = iter([PASSWORD, "another", PASSWORD, PASSWORD])
    monkeypatch.setattr(getpass, "getpass", lambda _prompt: next(typed))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    outcomes = [told(capsys, "password", "A keeper", "--store", url) for _ in range(2)]
    assert [1, 0] == [code for code, _, _ in outcomes]
    assert "differ" in outcomes[0][2]
    monkeypatch.setattr("sys.stdin.isatty", lambda: False)
    code, _, err = told(capsys, "password", "A keeper", "--store", url)
    assert (1, True) == (code, "--password-file FILE" in err)


def test_a_device_gets_a_code(store: Store, url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The code that is printed enrols a device of the account at its stage."""
    code, out, _ = told(capsys, "enrol", "Engraving", "--device", "Tablet", "--stage", "engraving", "--store", url)
    found = re.search(r": (\w{4} \w{4})$", out, re.MULTILINE)
    assert (0, True) == (code, found is not None)
    assert found is not None
    device, account = device_account(store, exchange_code(store, found[1], wall_clock_ms()))
    assert ("Tablet", "engraving", ("station",)) == (device.name, device.stage, account.roles)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("enrol", "Nobody", "--device", "T"), "no account in use"), (("enrol", "Gone", "--device", "T"), "no account in use"),
        (("enrol", "Twin", "--device", "T"), "several accounts"), (("enrol", "A keeper", "--device", "T"), "no role"),
        (("password", "A keeper", "--password-file", "/no/such/file"), "cannot be read"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_told(
    store: Store, url: str, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    """With 1 and one line that says why."""
    code, _, err = told(capsys, *words, "--store", url)
    assert (1, True) == (code, said in err)


def test_everyone_of_the_demo_is_let_in(store: Store, url: str) -> None:
    """Each account with a name of its own signs in with the demo's password; of two of one name the first does."""
    let_in = people.let_people_in(url)
    assert ["A keeper", "Engraving", "Twin"] == [account.name for account in let_in]
    now = wall_clock_ms()
    for account in let_in:
        cookie = sign_in(store, account.name or "", people.PASSWORD, now)
        assert account.account == session_account(store, cookie, now).account
