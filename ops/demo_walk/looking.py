"""The end of the walk: where the pages are, and who may sign in to them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from api.pages.words import english_word
from ledger.access.roles import ROLES
from ledger.store.accounts import Account
from ops.demo_walk.people import PASSWORD
from ops.demo_walk.screen import Screen

JOBS = {
    "station": "records steps, engraves",
    "inspector": "measures, inspects",
    "quality": "judges, releases, holds, contains",
    "desk": "finds balls, answers claims",
    "auditor": "reads all, checks the book",
    "examiner": "reads what was granted, for a time",
    "admin": "gives accounts and devices",
}
"""What a role does at the pages, in a few words."""


def show_pages(screen: Screen, address: str, label: str, people: Sequence[Account]) -> None:
    """Print the front page, the public page of a label, and an account of each role with what it does at the pages.

    ``label``: the path of a label's address.
    """
    screen.say("front page", f"{address}/  (in English or German)")
    screen.say("a label leads to", f"{address}{label}  (public)")
    screen.say("password", f"{PASSWORD}  (of all here; invented, and worth nothing elsewhere)")
    rows = [(_of_role(role, people), english_word("role", role), JOBS[role]) for role in ROLES]
    screen.table([("sign in as", "role", "does"), *rows])


def _of_role(role: str, people: Iterable[Account]) -> str:
    """The name of who has a role and the fewest others, the first by name."""
    having = [(len(person.roles), str(person.name)) for person in people if role in person.roles]
    return min(having)[1] if having else ""
