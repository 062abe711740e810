"""A store that was moved takes nothing beside the book either: what the copy would not have is refused, the rest goes on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ledger.access.cookies import cookie_digest
from ledger.application.last_backup import last_backup, note_backup
from ledger.errors import StoreError
from ledger.store import accounts, blobs, devices, passwords, sessions
from ledger.store.book_checks import put_check
from ledger.store.copying import copy_book
from ledger.store.engine import Store, open_store
from ledger.store.leases import end_lease, take_lease
from ledger.store.places import keep_place
from ledger.store.published import put_token_fault
from ledger.store.writer import Writer
from tests.stores import every_row, fresh_file

MINUTE_MS = 60_000


@pytest.fixture
def moved(store: Store, writer: Writer, tmp_path: Path) -> tuple[Store, str, str]:
    """A store with an account that is signed in, moved to another one; the account, and its cookie."""
    account = accounts.add_account(store, "Engraver", ["station"], 5).account
    cookie = sessions.add_session(store, account, 5)
    target = open_store(fresh_file(tmp_path))
    copy_book(store, target, move=True)
    target.close()
    return store, account, cookie


REFUSED: dict[str, Callable[[Store, str, str], Any]] = {
    "account": lambda store, _account, _cookie: accounts.add_account(store, "Another", ["desk"], 6),
    "roles": lambda store, account, _cookie: accounts.set_roles(store, account, ["desk"]),
    "closing": lambda store, account, _cookie: accounts.close_account(store, account, 6),
    "token": lambda store, account, _cookie: accounts.issue_token(store, account, 6),
    "password": lambda store, account, _cookie: passwords.put_password(store, account, "x", 6, must_change=False),
    "sign-in": lambda store, _account, _cookie: passwords.begin_sign_in(store, "Engraver", 6),
    "session": lambda store, account, _cookie: sessions.add_session(store, account, 6),
    "sign-out": lambda store, _account, cookie: sessions.end_session(store, cookie_digest("session", cookie), 6),
    "device": lambda store, account, _cookie: devices.add_device(store, account, "Tablet", None, 6),
    "blob": lambda store, _account, _cookie: blobs.put_blob(store, b"x", "image/png"),
    "place": lambda store, _account, _cookie: keep_place(store, "late", 3),
    "published": lambda store, _account, _cookie: put_token_fault(store, "tsa", "it is away"),
}


@pytest.mark.parametrize("write", REFUSED.values(), ids=REFUSED)
def test_what_the_copy_would_lack_is_refused(
    moved: tuple[Store, str, str], write: Callable[[Store, str, str], Any]
) -> None:
    """Accounts, sign-ins, files and what duties keep are refused with the reason, and nothing changes."""
    store = moved[0]
    before = every_row(store)
    with pytest.raises(StoreError, match="moved to another"):
        write(*moved)
    assert before == every_row(store)


def test_what_is_about_the_store_itself_goes_on(moved: tuple[Store, str, str]) -> None:
    """Leases are taken and end, a session is still read, and a backup and a check are noted."""
    store, account, cookie = moved
    assert take_lease(store, "rechecks", "one", 10, 1_000)
    end_lease(store, "rechecks", "one")
    assert take_lease(store, "rechecks", "another", 11, 1_000)
    session = sessions.session_of(store, cookie, 2 * MINUTE_MS)
    assert session is not None
    assert account == session.account
    note_backup(store, 3, 12)
    put_check(store, "check-1", "{}")
    assert last_backup(store) is not None


def test_an_unfinished_copy_takes_nothing_beside_the_book(store: Store, writer: Writer, tmp_path: Path) -> None:
    """An account made in a copy that is not whole yet would stand in the way of those that are still to come."""
    target = open_store(fresh_file(tmp_path))

    def stop(_done: int, _size: int) -> None:
        raise RuntimeError("stopped")

    with pytest.raises(RuntimeError, match="stopped"):
        copy_book(store, target, progress=stop)
    with pytest.raises(StoreError, match="not finished"):
        accounts.add_account(target, "Another", ["desk"], 6)
    target.close()


def test_what_is_being_written_when_the_book_is_moved_comes_along(store: Store, writer: Writer, tmp_path: Path) -> None:
    """A move waits for an account that is being opened, and the new store has it."""
    target = open_store(fresh_file(tmp_path))
    reached = threading.Event()
    mover = threading.Thread(
        target=copy_book, args=(store, target), kwargs={"move": True, "progress": _telling(reached)}
    )
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "account" ("account", "name", "roles", "created_ms") VALUES (?, ?, ?, ?)',
            ("a-9", "Late", "", 5),
        )
        mover.start()
        assert reached.wait(30)
    mover.join()
    assert "a-9" in [account.account for account in accounts.list_accounts(target)]
    with pytest.raises(StoreError, match="moved to another"):
        accounts.add_account(store, "Another", ["desk"], 6)
    target.close()


def _telling(reached: threading.Event) -> Callable[[int, int], None]:
    """Says that all entries are copied: the next thing that the move does is to close the old store."""

    def progress(done: int, size: int) -> None:
        if done == size:
            reached.set()

    return progress
