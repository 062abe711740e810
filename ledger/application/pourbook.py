"""The one object that the service and the commands call: it wires store, writer, keys and questions; it has no rules."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import Future
from typing import Any, BinaryIO

from ledger.access.roles import check_may_say, check_roles
from ledger.access.tokens import Account
from ledger.application.adopting import Adoption, store_adoption
from ledger.application.approval_changes import due_changes
from ledger.application.asking import AskAnswer, ask_store
from ledger.application.ball_view import Ball, BallFound, ball_view, find_units, selected_ball
from ledger.application.conformity_query import Conformity, conformity_of
from ledger.application.credentials import issuer_of
from ledger.application.dossier_report import DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.failing_readings import failing_units
from ledger.application.judged_grounds import judged_with
from ledger.application.judging import JudgedBy, judge_selected
from ledger.application.lot_view import Above, Below, LotView, lot_above, lot_below, lot_view
from ledger.application.proofs import BookReport, EntryView, check_book, entries_tile, entry_view
from ledger.application.public import PublicAnswer, public_answer
from ledger.application.published import published_note
from ledger.application.registers import GaugeSeen, ModelSeen, gauges_at, models_at
from ledger.application.releasing import Wanted, release_records, released_before
from ledger.application.said_before import entered_before
from ledger.application.said_first import check_said
from ledger.application.serials import Allotted, Allotter
from ledger.application.signers import Signers
from ledger.application.standing import PlantStanding, plant_standing
from ledger.application.temperature_logs import LogAsked, TemperatureLogs, log_record, temperature_logs
from ledger.application.warranty_desk import Asked, warranty_answer
from ledger.book.signing import Verifier
from ledger.duties.publisher import Publisher, publisher_over
from ledger.duties.publishing import PublishingPlan
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import DutyRunner
from ledger.duties.witness_talk import Send
from ledger.errors import StoreDamaged, Unauthenticated
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.record import Record
from ledger.line.releases import Grade
from ledger.line.submission import Submission, said_kinds
from ledger.store.accounts import account_of, add_account, issue_token
from ledger.store.answer import Entered, GroupReport, Settled, settle_futures
from ledger.store.commit import load_checkpoint_terms
from ledger.store.engine import Store, open_store
from ledger.store.head import noted_size
from ledger.store.reader import Reader, open_reader
from ledger.store.rebuild import rebuild_views
from ledger.store.selections import Selection
from ledger.store.writer import Writer
from ledger.warranty.answer import WarrantyAnswer


def wall_clock_ms() -> int:
    """POSIX milliseconds by this machine's clock."""
    return time.time_ns() // 1_000_000


def fresh_salts(count: int) -> list[bytes]:
    """That many salts of 32 random bytes."""
    return [secrets.token_bytes(32) for _ in range(count)]


class Pourbook:
    """One book, opened. Every method may be called from any thread."""

    def __init__(
        self,
        store: Store,
        *,
        origin: str,
        signers: Signers,
        label_stem: str,
        clock_ms: Callable[[], int] = wall_clock_ms,
        salts: Callable[[int], Sequence[bytes]] = fresh_salts,
        deliver: Callable[[list[Settled]], None] = settle_futures,
        on_group: Callable[[GroupReport], None] | None = None,
    ) -> None:
        """Wire the parts; nothing is taken before `start`."""
        self.store = store
        self.origin = origin
        self.label_stem = label_stem
        self.signers = signers
        self.clock_ms = clock_ms
        self._writer = Writer(
            store,
            origin=origin,
            signers=signers.checkpoints(),
            clock_ms=clock_ms,
            salts=salts,
            deliver=deliver,
            on_group=on_group,
        )
        self._allotter = Allotter(store, self._writer, b"")
        self._duties: DutyRunner | None = None
        self.publisher: Publisher | None = None
        """What publishes this book's checkpoints, where `publish_by` was called."""

    def publish_by(self, plan: PublishingPlan, send: Send, on_published: Callable[[bytes], None] | None = None) -> None:
        """Publish checkpoints by this plan once `start` was called with ``duties``; ``send`` reaches the witnesses."""
        self.publisher = publisher_over(self.store, plan, send, book=self, on_published=on_published)

    def start(self, known: bytes | None = None, *, duties: bool = False) -> None:
        """Check the end of the book and take submissions; with ``duties``, do the background work too.

        ``known``: a checkpoint kept elsewhere, its signature checked by the caller. Raises StoreError.
        """
        with open_reader(self.store) as reader:
            secret = reader.setting("serial-key")
        if secret is None:
            raise StoreDamaged(
                "the store has no serial key", mend="create the book with create_book, or restore it whole"
            )
        self._allotter = Allotter(self.store, self._writer, bytes.fromhex(secret))
        self._writer.start(known)
        if duties:
            self._duties = DutyRunner(
                self.store,
                lambda submission: self._writer.submit(submission, DUTIES, Future()),
                holder=secrets.token_hex(8),
                clock_ms=self.clock_ms,
                failing=failing_units,
                changes=due_changes,
            )
            self._duties.start()
        if duties and self.publisher is not None:
            self.publisher.start()

    def close(self) -> None:
        """Finish the group at hand, answer everyone, and close the store."""
        if self._duties is not None:
            self._duties.stop()
        if self.publisher is not None:
            self.publisher.stop()
        self._writer.stop()
        self.store.close()

    @property
    def takes_submissions(self) -> bool:
        """Whether the writer is there to take them."""
        return self._writer.is_open

    @property
    def waiting(self) -> int:
        """Submissions in the writer's queue, about."""
        return self._writer.waiting

    # Writing.

    def submit(self, submission: Submission, account: Account, future: Any = None) -> Any:
        """Say records. The future gives `Entered`. Raises Forbidden, MalformedInput at once; refusals come by the future.

        What rests on verdicts, files or cases, what leaves for sale, and what takes back is checked against the store first
        (`check_said`), and may be refused at once.
        """
        for kind in said_kinds(submission):
            check_may_say(account.roles, kind)
        judged = check_said(self.store, submission, account, self.clock_ms)
        return self._writer.submit(submission, account.account, future, judged=judged)

    def ask(self, records: Sequence[Record], account: Account, *, apart: bool = False) -> list[AskAnswer]:
        """May this be done now? One answer a record, each seeing those before it; ``apart``, each as if said alone."""
        return ask_store(self.store, records, author=account.account, now_ms=self.clock_ms(), apart=apart)

    def allot_serials(self, station: str, count: int, key: str, account: Account) -> Allotted:
        """Serials of the own scheme for a station, entered before they are given. The same key gives the same again."""
        check_may_say(account.roles, "serials-allotted")
        return self._allotter.allot(
            station=station, count=count, key=key, author=account.account, now_ms=self.clock_ms()
        )

    def release(
        self, units: Sequence[str], grade: Grade, key: str, account: Account, *, undecided: bool = False
    ) -> Any:
        """Judge balls and release them at a grade, all or none. The future gives `Entered`.

        ``undecided``: as first quality even where a verdict is undecided, if the policy lets a role of the account do it.
        The same key answers with the same entry again. Raises RuleStands, UnknownSubject, KeyReused, Forbidden.
        """
        check_may_say(account.roles, "release")
        wanted = Wanted(units, grade, undecided)
        records = released_before(self.store, wanted, key=key, author=account.account)
        judged: dict[str, str] = {}
        if records is None:
            # Looked at before they are judged: what changes from here on is seen when the release is entered.
            judged = judged_with(self.store, units) if grade == "first" else {}
            records = release_records(self.store, wanted, self.clock_ms(), account.roles)
        return self._writer.submit(Submission(key=key, records=records), account.account, judged=judged)

    def adopt(
        self, adoption_of: Callable[[bytes, int], Adoption], raw: bytes, key: str, account: Account
    ) -> tuple[Adoption, Any]:
        """Store a file of the plant's own (`ledger.application.adopting`) and say that it is in force.

        The future gives `Entered`; the same file again, while it is in force, gives the entry by which it is. Raises
        Forbidden, MalformedRulebook, KeyReused.
        """
        adoption = adoption_of(raw, self.clock_ms())
        check_may_say(account.roles, adoption.kind)
        stands = store_adoption(self.store, adoption, raw, key=key, author=account.account)
        if isinstance(stands, int):
            answered: Future[Entered] = Future()
            answered.set_result(entered_before(self.store, stands, self.receipt(stands)))
            return adoption, answered
        return adoption, self._writer.submit(Submission(key=key, records=stands), account.account)

    def log_temperature(self, asked: LogAsked, key: str, account: Account) -> tuple[TemperatureLogged, Any]:
        """Store a temperature log and say its summary: the record, and a future that gives `Entered`.

        The same key gives the same entry again. Raises MalformedInput naming the line, UnknownSubject, Contradiction, KeyReused.
        """
        check_may_say(account.roles, "temperature-logged")
        record = log_record(self.store, asked, key=key, author=account.account, now_ms=self.clock_ms())
        return record, self._writer.submit(Submission(key=key, records=(record,)), account.account)

    # Looking.

    def find(self, serial: str) -> tuple[BallFound, ...]:
        """Every ball that bears or bore a number, as typed or scanned."""
        with open_reader(self.store) as reader:
            return find_units(reader, serial)

    def ball(self, unit: str) -> Ball:
        """Everything about one ball. Raises NotFound."""
        with open_reader(self.store) as reader:
            return ball_view(reader, unit)

    def judged(self, unit: str) -> list[JudgedBy]:
        """How a ball comes out now under each rulebook of its plan. Raises NotFound."""
        with open_reader(self.store) as reader:
            return judge_selected(reader, selected_ball(reader, unit))

    def lot(self, lot: str) -> LotView:
        """One lot: account, steps, history, holds. Raises NotFound."""
        with open_reader(self.store) as reader:
            return lot_view(reader, lot)

    def temperature_logs(self, lot: str, stage: str | None = None) -> TemperatureLogs:
        """The temperature logs of a lot, with points where their files are stored. Raises NotFound."""
        return temperature_logs(self.store, lot, stage)

    def above(self, lot: str) -> Above:
        """Every lot above a lot, back to the drum. Raises NotFound."""
        with open_reader(self.store) as reader:
            return lot_above(reader, lot)

    def below(self, lot: str) -> Below:
        """Every lot and every ball below a lot. Raises NotFound."""
        with open_reader(self.store) as reader:
            return lot_below(reader, lot)

    def conformity(self, selection: Selection, rulebook: str, *, listed: int = 0) -> Conformity:
        """Verdicts of a selection under a rulebook. Raises NotFound, TooLarge."""
        with open_reader(self.store) as reader:
            return conformity_of(reader, selection, rulebook, listed=listed)

    def warranty(
        self,
        serial: str,
        bought_on: str | None = None,
        asked_on: str | None = None,
        market: str = "",
        mode: str | None = None,
    ) -> WarrantyAnswer:
        """What the desk can say about a number, for every ball that it may be. Raises MalformedRecord for a bad date."""
        with open_reader(self.store) as reader:
            return warranty_answer(reader, Asked(serial, bought_on, asked_on, market, mode), self.clock_ms())

    def public(self, gtin: str, serial: str) -> PublicAnswer:
        """What anyone who scans a label is told."""
        with open_reader(self.store) as reader:
            return public_answer(reader, gtin, serial)

    def dossier(
        self, serials: Sequence[str], out: BinaryIO, withhold: Collection[str] = ("withheld", "erasable")
    ) -> None:
        """Write the evidence for a set of numbers to ``out`` (see `ledger.evidence`). Raises NotFound.

        ``withhold``: names of what is left closed, see `DossierWanted`.
        """
        self.write_dossier(DossierWanted(serials=tuple(serials), withhold=tuple(withhold)), out)

    def write_dossier(self, wanted: DossierWanted, out: BinaryIO) -> None:
        """Write the evidence that is wanted to ``out``. Raises MalformedRecord, NotFound."""
        note, stem, keys = self.checkpoint(), self.label_stem, self.signers
        issuer = None if keys.credential is None else issuer_of(stem, "", keys.credential)
        reporter = DossierReporter(keys.seal)
        giver = DossierGiver(note=note, signer=keys.dossier, stem=stem, issuer=issuer, reporter=reporter)
        with open_reader(self.store) as reader:
            write_wanted(reader, out, wanted, giver)

    def standing(self) -> PlantStanding:
        """Counts, open holds, claims, and the gauges that may not be used now."""
        with open_reader(self.store) as reader:
            return plant_standing(reader, self.clock_ms())

    def gauges(self) -> tuple[GaugeSeen, ...]:
        """Every gauge and whether a reading taken now may be used."""
        with open_reader(self.store) as reader:
            return gauges_at(reader, self.clock_ms())

    def models(self) -> tuple[ModelSeen, ...]:
        """Every model with its plan in force now, and its approvals."""
        with open_reader(self.store) as reader:
            return models_at(reader, self.clock_ms())

    # Proofs.

    def checkpoint(self) -> bytes:
        """The newest signed checkpoint: this process's own, or the stored one where another process wrote since.

        What another process entered less than `ledger.store.writer.IDLE_S` ago may not be covered yet.
        """
        with open_reader(self.store) as reader:
            return self._checkpoint_in(reader)

    def _checkpoint_in(self, reader: Reader) -> bytes:
        head = reader.head()
        known = [note for note in (self._writer.checkpoint, head.checkpoint) if note is not None]
        sizes = {noted_size(note): note for note in known}
        covered = [size for size in sizes if size <= head.size]
        return sizes[max(covered)] if covered else b""

    def checkpoint_keys(self) -> list[Verifier]:
        """Every key that signs or has signed this book's checkpoints: those at hand and those that the book names."""
        with open_reader(self.store) as reader:
            named = [term.verifier for term in load_checkpoint_terms(reader.transaction)]
        return list(dict.fromkeys([*(signer.verifier for signer in self.signers.checkpoints()), *named]))

    def entry(self, index: int) -> EntryView:
        """One entry and its openings. Raises NotFound."""
        with open_reader(self.store) as reader:
            return entry_view(reader, index)

    def entry_bytes(self, index: int) -> bytes:
        """The bytes of an entry as hashed. Raises NotFound."""
        with open_reader(self.store) as reader:
            return reader.entry(index).bytes

    def receipt(self, index: int, *, published: bool = False) -> str:
        """The receipt of an entry against the newest checkpoint, or the newest ``published`` one. Raises NotFound."""
        with open_reader(self.store) as reader:
            note = published_note(reader) if published else self._checkpoint_in(reader)
            return reader.receipt(index, note or None)

    def consistency(self, old_size: int, new_size: int) -> list[bytes]:
        """Proof that the larger tree extends the smaller. Raises NotFound."""
        with open_reader(self.store) as reader:
            return reader.consistency(old_size, new_size)

    def tile(self, level: int, number: int, width: int) -> bytes:
        """A hash tile. Raises NotFound."""
        with open_reader(self.store) as reader:
            return reader.hash_tile(level, number, width)

    def entries_tile(self, number: int, width: int) -> bytes:
        """An entries tile. Raises NotFound."""
        with open_reader(self.store) as reader:
            return entries_tile(reader, number, width)

    def check(self, *, views: bool = True, progress: Callable[[int, int], None] | None = None) -> BookReport:
        """Check the whole book. Raises the first thing that is wrong."""
        keys = [signer.verifier for signer in self.signers.checkpoints()]
        return check_book(self.store, self.origin, keys, views=views, progress=progress)

    def rebuild(self) -> int:
        """Make every view anew from the entries; how many entries were folded."""
        return rebuild_views(self.store)

    # People.

    def account_of(self, token: str) -> Account:
        """The account that a token speaks for. Raises Unauthenticated."""
        found = account_of(self.store, token)
        if found is None:
            raise Unauthenticated("token is not in use", mend="ask the system keeper for a new token")
        return Account(found.account, tuple(sorted(found.roles)))

    def open_account(self, name: str, roles: Sequence[str]) -> tuple[Account, str]:
        """Open an account; the account and its token, which is told only here. Raises Forbidden for unknown roles."""
        return open_account(self.store, name, roles, self.clock_ms())


def open_account(store: Store, name: str, roles: Sequence[str], now_ms: int) -> tuple[Account, str]:
    """Open an account in a store; the account and its token. Raises Forbidden for unknown roles."""
    check_roles(roles)
    added = add_account(store, name, roles, now_ms)
    return Account(added.account, tuple(sorted(added.roles))), issue_token(store, added.account, now_ms)


def open_book(url: str, **wiring: Any) -> Pourbook:
    """Open the store at a URL and wire a book over it (not started). Raises StoreError, Unsupported."""
    return Pourbook(open_store(url), **wiring)
