"""Naming the file in which the first fault of a dossier lies, whatever noticed it."""

from __future__ import annotations

from types import TracebackType

from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedInput


# Both are classes: they surround each file of a dossier, and a generator costs some times as much to enter and leave.
class naming_file:  # noqa: N801  # it is used as a word in a with statement
    """Let what goes wrong inside name the file: unreadable is MalformedDossier, wrong is DossierRejected."""

    __slots__ = ("_where",)

    def __init__(self, where: str) -> None:
        """``where``: the file, and after a colon the field."""
        self._where = where

    def __enter__(self) -> None:
        """Nothing is wrong yet."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Raise what was raised inside, with the file named."""
        if not isinstance(error, LedgerError):
            return
        where = self._where
        if isinstance(error, MalformedDossier | DossierRejected) and error.where.startswith(where.partition(":")[0]):
            return
        found = MalformedDossier if isinstance(error, MalformedInput) else DossierRejected
        place = where if where.endswith(error.where) else f"{where}: {error.where}"
        raise found(error.problem, expected=error.expected, got=error.got, where=place, mend=error.mend) from error


class naming_entries:  # noqa: N801  # it is used as a word in a with statement
    """Let entries that make no sense together, though each is proved, be DossierRejected, whatever is odd in them."""

    __slots__ = ("_name",)

    def __init__(self, name: str) -> None:
        """``name``: the file in which they make none."""
        self._name = name

    def __enter__(self) -> None:
        """Nothing is odd yet."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Raise what was raised inside, with the file named."""
        if isinstance(error, MalformedDossier | DossierRejected):
            return
        if isinstance(error, LedgerError):
            place = f"{self._name}: {error.where}" if error.where else self._name
            raise DossierRejected(error.problem, expected=error.expected, got=error.got, where=place) from error
        if isinstance(error, LookupError | TypeError | ValueError | AttributeError | ArithmeticError):
            raise DossierRejected(
                "entries here do not make sense together", got=str(error), where=self._name
            ) from error
