"""A store and its standby in one: what may be old is looked at there, and everything else is the store's own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress

from ledger.errors import LedgerError, StoreUnavailable
from ledger.store.engine import CONNECTIONS, Store
from ledger.store.look import Look, look_at_hand
from ledger.store.read_store import ReadStore
from ledger.store.standby import standby_look
from ledger.store.transaction import Transaction


class FollowedStore(Store):
    """A store whose looks may be at its standby, where the question at hand allows it. Everything else is its own."""

    def __init__(self, primary: Store, read_store: ReadStore) -> None:
        """Both are closed with it."""
        super().__init__(primary.engine, primary.dialect)
        self.read_store = read_store

    @contextmanager
    def reading(self) -> Iterator[Transaction]:
        """A consistent look at the store, or at its standby under a look that allows it."""
        look = look_at_hand()
        if look is None or not look.short:
            with super().reading() as transaction:
                yield transaction
            return
        with ExitStack() as stack:
            standing = self._at_standby(stack, look)
            if standing is None:
                look.refuse()
                standing = stack.enter_context(super().reading())
            try:
                yield standing
            except self.dialect.errors as error:
                if look.shown is None:
                    raise
                self.read_store.failed(error)
                raise gave_up() from error

    def _at_standby(self, stack: ExitStack, look: Look) -> Transaction | None:
        """A look at the standby that goes with ``stack``; None where the store itself is to be asked."""
        if look.shown is None and self.read_store.state != "usable":
            self.read_store.count(self.read_store.state)
            return None
        own = ExitStack()
        try:
            transaction, applied = own.enter_context(standby_look(self.read_store.opened()))
            if look.shown is None:
                look.shown = self.read_store.shown(applied, look.least)
        except (StoreUnavailable, self.dialect.errors) as error:
            own.close()
            self.read_store.failed(error)
            if look.shown is not None:  # half of an answer is from it: all of it is asked again
                raise gave_up() from error
            return None
        stack.push(own.pop_all())
        return transaction

    def close(self) -> None:
        """Close both."""
        with suppress(LedgerError, self.dialect.errors):
            self.read_store.stop()
        super().close()


def gave_up() -> StoreUnavailable:
    """Half of an answer is from the standby, and the rest is not to be had there: all of it has to be asked again."""
    return StoreUnavailable("the read store gave up", mend="ask again: the store itself is asked then")


def follow(
    primary: Store, url: str, limit_s: float, *, connections: int = CONNECTIONS, statement_s: float = 0
) -> FollowedStore:
    """The store with a standby beside it, which is looked at from now on; opened as the primary is (`open_store`)."""
    read_store = ReadStore(url, primary, limit_s, connections=connections, statement_s=statement_s)
    read_store.turn()
    read_store.start()
    return FollowedStore(primary, read_store)
