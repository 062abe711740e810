"""Naming the file in which the first fault of a dossier lies, whatever noticed it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedInput


@contextmanager
def naming_file(where: str) -> Iterator[None]:
    """Let what goes wrong inside name the file: unreadable is MalformedDossier, wrong is DossierRejected."""
    try:
        yield
    except LedgerError as error:
        if isinstance(error, MalformedDossier | DossierRejected) and error.where.startswith(where.partition(":")[0]):
            raise
        found = MalformedDossier if isinstance(error, MalformedInput) else DossierRejected
        place = where if where.endswith(error.where) else f"{where}: {error.where}"
        raise found(error.problem, expected=error.expected, got=error.got, where=place, mend=error.mend) from error


@contextmanager
def naming_entries(name: str) -> Iterator[None]:
    """Let entries that make no sense together, though each is proved, be DossierRejected, whatever is odd in them."""
    try:
        yield
    except (MalformedDossier, DossierRejected):
        raise
    except LedgerError as error:
        place = f"{name}: {error.where}" if error.where else name
        raise DossierRejected(error.problem, expected=error.expected, got=error.got, where=place) from error
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise DossierRejected("entries here do not make sense together", got=str(error), where=name) from error
