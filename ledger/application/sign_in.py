"""Signing in and out with a browser, and the password that it takes.

A person signs in by the name of an account and its password.  Whatever is wrong, the answer is the same and takes the
same work: it does not tell whether there is such an account.  Failures are kept in the store, so a name that must wait
waits for every process, and after a restart (`ledger.access.lockout`).  Each sign-in begins a session with a cookie of its
own.  Nothing of this goes into the book.
"""

from __future__ import annotations

from ledger.access.cookies import cookie_digest
from ledger.access.passwords import check_password, normal_password
from ledger.application.password_hashes import HASHES, PasswordHashes
from ledger.errors import AccessDenied, NotFound, Refused, Unauthenticated
from ledger.store.accounts import account_name
from ledger.store.engine import Store
from ledger.store.passwords import (
    begin_sign_in,
    end_sign_in,
    password_of,
    password_of_account,
    put_password,
    sign_in_wait_ms,
)
from ledger.store.sessions import Session, add_session, end_session, end_sessions, session_of


def sign_in(
    store: Store, name: str, password: str, now_ms: int, *, language: str | None = None, hashes: PasswordHashes = HASHES
) -> str:
    """Begin a session; its cookie, which is told here and nowhere again.

    Raises Unauthenticated when name and password are not those of an open account, AccessDenied while the name must wait.
    """
    if begin_sign_in(store, name, now_ms):
        raise AccessDenied(
            "too many sign-ins under this name have failed",
            where="name",
            mend="wait as long as the page says, up to 15 minutes, and sign in again",
        )
    found = password_of(store, name)
    normal = normal_password(password)
    if not hashes.fits(normal, None if found is None else found.hash) or found is None:
        raise Unauthenticated(
            "name or password is not right", where="password", mend="type both again, or ask the system keeper"
        )
    if hashes.is_outdated(found.hash):
        put_password(store, found.account, hashes.made(normal), found.set_ms, must_change=found.must_change)
    end_sign_in(store, name)
    try:
        return add_session(store, found.account, now_ms, language)
    except NotFound as error:
        raise Unauthenticated("account was closed", where="name", mend="ask the system keeper") from error


def wait_s(store: Store, name: str, now_ms: int) -> int:
    """How many seconds a sign-in under a name must still wait."""
    return -(-sign_in_wait_ms(store, name, now_ms) // 1000)


def session_account(store: Store, cookie: str, now_ms: int) -> Session:
    """The session of a cookie, and its use noted. Raises Unauthenticated for one that is unknown, unused too long or ended."""
    session = session_of(store, cookie, now_ms)
    if session is None:
        raise Unauthenticated("session has ended", mend="sign in again")
    return session


def sign_out(store: Store, cookie: str, now_ms: int) -> None:
    """End the session of a cookie. Raises Unauthenticated for text that is no cookie."""
    end_session(store, cookie_digest("session", cookie), now_ms)


def set_password(
    store: Store, account: str, password: str, now_ms: int, *, must_change: bool, hashes: PasswordHashes = HASHES
) -> None:
    """Give an account a password, and end its sessions; with ``must_change`` it is good for choosing another one alone.

    Raises NotFound for an account that is not open or has no name, Refused for a password that may not be, Contradiction
    when another account signs in by the same name.
    """
    name = account_name(store, account)
    if name is None:
        raise NotFound("account is not open", got=account, where="account")
    put_password(store, account, hashes.made(check_password(password, name)), now_ms, must_change=must_change)
    end_sessions(store, account, now_ms)


def change_password(
    store: Store, session: Session, old: str, new: str, now_ms: int, *, hashes: PasswordHashes = HASHES
) -> None:
    """Replace one's own password, and end one's other sessions.

    Raises Unauthenticated when the old one is not right, AccessDenied after too many tries, Refused for a new one that
    may not be.
    """
    name = session.name or ""
    normal = check_password(new, name)
    if begin_sign_in(store, name, now_ms):
        raise AccessDenied("too many tries have failed", where="old", mend="wait some minutes, and try again")
    found = password_of_account(store, session.account)
    if not hashes.fits(normal_password(old), None if found is None else found.hash):
        raise Unauthenticated("present password is not right", where="old", mend="type it again")
    if normal == normal_password(old):
        raise Refused("new password is the present one", where="new", mend="take another")
    put_password(store, session.account, hashes.made(normal), now_ms, must_change=False)
    end_sessions(store, session.account, now_ms, but=session.digest)
