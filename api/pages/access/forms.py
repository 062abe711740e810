"""What a page's form said, and what is wrong with it in words for the page.

A `Fault` is tied to a field, so that the page can say it beside it.  Its text is a message of the catalogue with values by
name; what comes from elsewhere (`fault_of`) is matched by the field that it names.
"""

from collections.abc import Mapping
from typing import Any

import msgspec
from litestar import Request

from api.pages.catalogue import N_
from ledger.access.passwords import LONGEST, SHORTEST
from ledger.errors import LedgerError, MalformedInput

LONGEST_FIELD = 2_000


class Fault(msgspec.Struct, frozen=True):
    """What is wrong with a field: a message of the catalogue, and the values in it."""

    field: str
    message: str
    values: dict[str, Any] = {}


class Form:
    """The fields of one form; each is text, and one that was not sent is empty."""

    def __init__(self, fields: Mapping[str, list[Any]]) -> None:
        """``fields``: every value said for a name."""
        self._fields = fields

    def text(self, name: str) -> str:
        """The one value of a field, without spaces at its ends. Raises MalformedInput."""
        return self.exact(name).strip()

    def exact(self, name: str) -> str:
        """The one value of a field as typed: a password may begin with a space. Raises MalformedInput."""
        said = self.every(name)
        if len(said) > 1:
            raise MalformedInput("field is said twice", where=name, mend="send each field once")
        return said[0] if said else ""

    def every(self, name: str) -> tuple[str, ...]:
        """Every value of a field that may be said several times. Raises MalformedInput."""
        said = self._fields.get(name, [])
        if not all(isinstance(value, str) and len(value) <= LONGEST_FIELD for value in said):
            raise MalformedInput(
                "field is not a short text", expected=f"at most {LONGEST_FIELD} characters", where=name
            )
        return tuple(said)

    def lines(self, name: str, most: int) -> tuple[str, ...]:
        """The lines of a field that holds a list, one thing a line, empty ones left out. Raises MalformedInput over ``most``."""
        said = self._fields.get(name, [])
        if not all(isinstance(value, str) for value in said):
            raise MalformedInput("field is no text", where=name, mend="load the page again")
        found = tuple(line for value in said for text in value.splitlines() if (line := text.strip()))
        if len(found) > most or any(len(line) > LONGEST_FIELD for line in found):
            raise MalformedInput(
                "list is too long",
                expected=f"at most {most} lines",
                got=len(found),
                where=name,
                mend="send it in parts",
            )
        return found


async def read_form(request: Request[Any, Any, Any]) -> Form:
    """The form that a request holds."""
    found = await request.form()
    return Form({name: found.getall(name) for name in found})


_TEXTS: dict[tuple[str, str], str] = {
    ("refused", "password"): N_("A password has %(shortest)s to %(longest)s characters and is not the account's name."),
    ("refused", "new"): N_("The new password is the present one. Choose another."),
    ("unauthenticated", "old"): N_("The present password is not right."),
    ("access-denied", "old"): N_("Too many tries have failed. Wait some minutes, then try again."),
    ("contradiction", "name"): N_("Another account has this name. Add what tells the two people apart."),
    ("malformed-input", "name"): N_("A name is needed, of at most 80 characters."),
    ("forbidden", "roles"): N_("Choose at least one role."),
    ("refused", "roles"): N_("You cannot take the role of keeper from yourself. Let another keeper do it."),
    ("refused", "account"): N_("This cannot be done for that account. Choose another."),
    ("not-found", "account"): N_("This account is not open."),
    ("malformed-input", "stage"): N_("Choose one of the stages."),
    ("unauthenticated", "code"): N_("A code has 8 letters and digits. Type it as it is shown."),
    ("not-found", "code"): N_(
        "This code is not known, was used, or is more than 10 minutes old. Have a new one shown."
    ),
}
"""Errors of these forms by code and place, in words for a person."""

_VALUES = {"shortest": SHORTEST, "longest": LONGEST}


def fault_of(error: LedgerError) -> Fault:
    """What an error says beside its field. Raises the error itself where no words are kept for it."""
    message = _TEXTS.get((error.code, error.where))
    if message is None:
        raise error
    return Fault(error.where, message, _VALUES)
