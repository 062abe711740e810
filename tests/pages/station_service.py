"""A plant whose stations are served by a clock that tests set: a model with a plan, and accounts that sign in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import msgspec

from api.app import create_app
from api.delivery import Delivery
from api.server import serving
from api.settings import Settings
from ledger.access.tokens import Account
from ledger.application.creating import create_book
from ledger.application.password_hashes import Cost, PasswordHashes
from ledger.application.pourbook import Pourbook, open_book
from ledger.application.sign_in import set_password
from ledger.book.instant import Instant, format_instant
from ledger.line.rows import Lot
from ledger.store.reader import open_reader
from tests.api.running import SIGNERS, STEM
from tests.pages.forms_sent import PASSWORD, FormsFound
from tests.plant import ORIGIN, said

START_MS = 1_804_060_800_000
"""2027-03-03T00:00Z, ahead of any clock that could have made the book."""

MINUTE, HOUR = 60_000, 3_600_000
WINDOWS = [
    {"stage": "block-demould", "min_s": 360},
    {"stage": "block-rest", "min_s": 86_400},
    {"stage": "core-rest", "min_s": 3_600},
    {"stage": "shell-demould", "min_s": 300},
    {"stage": "final-cure", "min_s": 86_400},
]


CHEAP = PasswordHashes(Cost(1, 8, 1))
"""What protects nothing need not be dear."""


class Clock:
    """The service's clock, which stands until a test moves it."""

    def __init__(self) -> None:
        """It stands at `START_MS`."""
        self.ms = START_MS

    def __call__(self) -> int:
        """POSIX milliseconds."""
        return self.ms

    @property
    def text(self) -> str:
        """The instant as records have it."""
        return format_instant(Instant(self.ms, 0))


class Floor:
    """The running service: ``say`` says records as the quality lead; `Hand` is somebody at a station."""

    def __init__(self, url: str, book: Pourbook, clock: Clock, lead: Account) -> None:
        """Accounts and their passwords are made here."""
        self.url, self.book, self.clock, self.lead = url, book, clock, lead
        self.accounts: dict[str, Account] = {}
        for name, roles in (("Line", ("station",)), ("Gauges", ("inspector",)), ("Lead", ("quality",))):
            account, _ = book.open_account(name, roles)
            self.accounts[name] = account
            set_password(book.store, account.account, PASSWORD, clock(), must_change=False, hashes=CHEAP)
        self._said = 0

    def say(self, *records: dict[str, Any]) -> Any:
        """Say records now, in the lead's name."""
        self._said += 1
        whole = [{"at": self.clock.text, **record} for record in records]
        return self.book.submit(said(f"floor-{self._said}", *whole), self.lead).result()

    def lot(self, lot: str) -> Lot | None:
        """A lot's row."""
        with open_reader(self.book.store) as reader:
            return reader.one(Lot, lot)

    def pours(self) -> None:
        """A drum, a batch, and BL-1, CL-1 and SL-1 of 20 each, kept as planned; the clock ends at SL-1's demoulding."""
        pour = {"model": "M1", "line": "L1", "mould_set": "MS1", "mixer": "MX1", "count": 20}
        draw = [{"lot": "BT-1", "kg": "1"}]
        self.say({"kind": "material-received", "lot": "MT-1", "material": "Resin", "kg": "900"})
        self.say({"kind": "batch-mixed", "batch": "BT-1", "compound": "Mix", "began_at": self.clock.text, "mixer": "MX1",
                  "draws": [{"lot": "MT-1", "kg": "800"}]})  # fmt: skip
        began = self.clock.text
        self.clock.ms += 10 * MINUTE
        self.say({**pour, "kind": "blocks-moulded", "lot": "BL-1", "began_at": began, "batches": draw})
        self.clock.ms += 25 * HOUR
        self.say({**pour, "kind": "cores-poured", "lot": "CL-1", "began_at": self.clock.text, "batches": draw,
                  "blocks": [{"lot": "BL-1", "count": 20}]})  # fmt: skip
        self.clock.ms += 2 * HOUR
        began = self.clock.text
        self.clock.ms += 10 * MINUTE
        self.say({**pour, "kind": "shells-poured", "lot": "SL-1", "began_at": began, "revision": 1, "weight_class": 15,
                  "cores": [{"lot": "CL-1", "count": 20}], "colours": [{"colour": "Grey", **draw[0]}]})  # fmt: skip


class Hand:
    """Somebody at a station: a browser without scripts, signed in."""

    def __init__(self, floor: Floor, name: str = "Line") -> None:
        """Sign in by the form."""
        self.floor = floor
        self.client = httpx.Client(base_url=floor.url, timeout=60, headers={"accept": "text/html"})
        self.page = httpx.Response(200, text="")
        self.name = name
        self.sign_in()

    def sign_in(self) -> None:
        """Sign in anew: a session ends by the clock."""
        self.open("/sign-in")
        answer = self.send("/sign-in", name=self.name, password=PASSWORD)
        assert answer.status_code == 303

    def wait(self, hours: float) -> None:
        """Let the clock go on, and sign in again."""
        self.floor.clock.ms += int(hours * HOUR)
        self.sign_in()

    def open(self, address: str) -> httpx.Response:
        """Open a page, and go where it leads."""
        self.page = self.client.get(address, follow_redirects=True)
        return self.page

    def fields(self, action: str, nth: int = 0) -> dict[str, list[str]]:
        """What stands in a form of the present page; ``nth`` of those with the same action."""
        found = FormsFound()
        found.feed(_form_text(self.page.text, action, nth))
        fields: dict[str, list[str]] = {}
        for name, value in found.forms.get(action, []):
            fields.setdefault(name, []).append(value)
        return fields

    def send(self, action: str, nth: int = 0, /, **typed: str | list[str]) -> httpx.Response:
        """Send a form with some fields filled in; the answer, which is the present page where it was refused."""
        answer = self.client.post(action, data={**self.fields(action, nth), **typed})
        if answer.status_code != 303:
            self.page = answer
        return answer

    def start(self, stage: str, **typed: str | list[str]) -> None:
        """Begin a pour by its button: the page that follows keeps what was typed and when."""
        answer = self.client.post(f"/station/{stage}/start", data={**self.fields(f"/station/{stage}/pour"), **typed})
        assert answer.status_code == 303
        self.open(answer.headers["location"])

    def carry(self, action: str, nth: int = 0, /, **typed: str | list[str]) -> httpx.Response:
        """Send a form, and open the page that it leads to."""
        answer = self.send(action, nth, **typed)
        return self.open(answer.headers["location"])

    def close(self) -> None:
        """Close its connections."""
        self.client.close()


def _form_text(page: str, action: str, nth: int) -> str:
    """The text of the nth form with an action."""
    parts = page.split(f'action="{action}"')
    if len(parts) < nth + 2:
        return ""
    return f'<form action="{action}"{parts[nth + 1].partition("</form>")[0]}</form>'


@contextmanager
def floor_running(folder: Path, **changes: Any) -> Iterator[Floor]:
    """A service over a new book that holds a model and its plan."""
    store, clock = f"sqlite:///{folder / 'book.sqlite'}", Clock()
    created = create_book(store, origin=ORIGIN, plant="Plant", signers=SIGNERS, keeper="A keeper", clock_ms=clock)
    delivery = Delivery()
    book = open_book(store, origin=ORIGIN, signers=SIGNERS, label_stem=STEM, deliver=delivery, clock_ms=clock)
    book.start()
    settings = msgspec.structs.replace(
        Settings(token_memory_s=0.0, long_reads=0, public_per_minute=60_000, public_burst=10_000), **changes
    )
    with serving(create_app(book, settings, delivery)) as address:
        floor = Floor(address, book, clock, created.account)
        floor.say(
            {"kind": "model-defined", "model": "M1", "name": "Model one", "brand": "Plant", "gtin": "09521234543213",
             "revision": 1, "core": "symmetric", "recipe": "one to one"},
            {"kind": "plan-set", "model": "M1", "windows": WINDOWS, "inspect": [], "rulebooks": []},
        )  # fmt: skip
        yield floor
