"""Long reads in processes of their own: dossiers, populations, and whatever else would hold up registrations for seconds.

A process starts with the first question and ends with the service. It has no key: where something is to be signed, it
sends the bytes to the service, which holds the key, and gets the signature back. The file that it writes is one that the
service opened. So nothing of a long read, and no key, need have a name on the disk.

Processes of our own and not a pool of the standard library, because these end at once with the service, even with one
that is killed, and one that dies takes no other's question along.
"""

from __future__ import annotations

import atexit
import queue
import threading
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

import msgspec

from ledger.application.credentials import issuer_of
from ledger.application.dossier_report import DistantSealer, DossierReporter
from ledger.application.dossier_wanted import DossierGiver, DossierWanted, write_wanted
from ledger.application.pourbook import Pourbook
from ledger.application.published import publish_now
from ledger.application.reading_process import Inside, ReadingProcess
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.signing import NoteSigner, Verifier, format_verifier, parse_verifier
from ledger.errors import StoreUnavailable
from ledger.evidence.withholding import SEALINGS
from ledger.store.followed_store import FollowedStore, gave_up
from ledger.store.long_look import open_long_reader
from ledger.store.look import Look, look_at_hand
from ledger.store.read_store import ReadStore
from ledger.store.reader import Reader
from ledger.store.standby import Applied, standby_look

if TYPE_CHECKING:
    from ledger.evidence.pdf.seal import SealWords

ON_THREADS = 2
"""Long reads at a time where there are no processes for them."""

PUBLISH_S = 5.0
"""How long a dossier waits for witnesses and time stamps."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """A question on its way; ``answers`` is what the service gives when it is asked in turn."""

    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    answers: dict[str, Callable[..., Any]] = field(default_factory=dict)
    out: BinaryIO | None = None
    future: Future[Any] = field(default_factory=Future)
    look: Look | None = field(default_factory=look_at_hand)


class LongReads:
    """Answers long questions on a few lanes, each a process, or with no ``workers`` a thread of this one.

    Questions wait their turn, first come, first served. Any thread may ask.
    """

    def __init__(self, book: Pourbook, workers: int) -> None:
        """Nothing is started before the first question."""
        self._book = book
        self._apart = workers > 0
        self._lanes = workers or ON_THREADS
        self._waiting: queue.SimpleQueue[_Asked | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._unanswered = 0
        self._started = self._closed = False
        self._processes: dict[tuple[int, str], ReadingProcess] = {}
        if isinstance(book.store, FollowedStore):
            book.store.read_store.on_cut.append(self._end_distant)

    @property
    def is_free(self) -> bool:
        """Whether a process would take a question at once."""
        return self._apart and self._unanswered < self._lanes

    def answer(self, question: Callable[..., Any], *arguments: Any, **named: Any) -> Future[bytes]:
        """The JSON of ``question(reader, ...)``: a function of a module, with arguments that pickle can carry.

        The future raises what the question raises, and StoreUnavailable when its process ends before the answer.
        Raises StoreUnavailable after `close`.
        """
        return self._ask(_Asked(_answer_json, (question, arguments, named)))

    def written(self, out: BinaryIO, question: Callable[..., Any], *arguments: Any, **named: Any) -> Future[Any]:
        """Have ``question(reader, ..., out=out)`` write to ``out``, an open file; what it returns. See `answer`."""
        return self._ask(_Asked(_write, (question, arguments, named), {}, out))

    def dossier(
        self,
        out: BinaryIO,
        asked: DossierWanted | Sequence[str],
        withhold: Collection[str] = SEALINGS,
        *,
        most: int | None = None,
        did: str = "",
    ) -> Future[None]:
        """Write the dossier that is wanted, or that of a set of numbers, to ``out``, an open file; see `answer`.

        ``withhold`` goes with numbers: what is left closed. Of more than ``most`` balls there is none. ``did``: who gives
        credentials, by default that of the labels' addresses.
        """
        numbers = () if isinstance(asked, DossierWanted) else tuple(asked)
        wanted = asked if isinstance(asked, DossierWanted) else DossierWanted(serials=numbers, withhold=tuple(withhold))
        signers = self._book.signers
        credential_key = None if signers.credential is None else _key(signers.credential)
        seal = None if signers.seal is None else signers.seal.words
        given = _Given(most, self._book.label_stem, did, _key(signers.dossier), credential_key, seal)
        answers: dict[str, Callable[..., Any]] = {"checkpoint": self._checkpoint, "sign": signers.dossier.sign}
        if signers.credential is not None:
            answers["sign_credential"] = signers.credential.sign
        if signers.seal is not None:
            answers["seal"] = signers.seal.seal
        return self._ask(_Asked(_write_dossier, (wanted, given), answers, out))

    def _checkpoint(self) -> bytes:
        """The newest checkpoint of the book, published if witnesses answer in time."""
        publish_now(self._book, PUBLISH_S)
        return self._book.checkpoint()

    def close(self) -> None:
        """End every process at once; whoever still waits is told that the service is stopping."""
        with self._lock:
            self._closed = True
            for process in self._processes.values():
                process.end()
        for _ in range(self._lanes):
            self._waiting.put(None)
        atexit.unregister(self.close)

    def _ask(self, asked: _Asked) -> Future[Any]:
        asked.future.add_done_callback(self._count_answered)
        with self._lock:
            self._check_open()
            self._unanswered += 1
            self._waiting.put(asked)
            if not self._started:
                self._started = True
                atexit.register(self.close)
                for lane in range(self._lanes):
                    # Not waited for at exit: a lane that is still at work then works for nobody.
                    threading.Thread(target=self._run, args=(lane,), name=f"long-read-{lane}", daemon=True).start()
        return asked.future

    def _count_answered(self, _future: Future[Any]) -> None:
        with self._lock:
            self._unanswered -= 1

    def _run(self, lane: int) -> None:
        while (asked := self._waiting.get()) is not None:
            if not asked.future.set_running_or_notify_cancel():
                continue
            try:
                answer = self._answer(lane, asked)
            except Exception as error:  # noqa: BLE001  # whatever it is, it is the asker's
                asked.future.set_exception(error)
            else:
                asked.future.set_result(answer)

    def _answer(self, lane: int, asked: _Asked) -> Any:
        look, store = asked.look, self._book.store
        if look is None or not look.long or not isinstance(store, FollowedStore):
            return self._asked_at(lane, asked, None, asked.answers)
        read_store, before = store.read_store, look.shown
        if read_store.state != "usable":
            read_store.count(read_store.state)
        else:
            try:
                return self._asked_at(lane, asked, read_store, {**asked.answers, "standby": _judge(read_store, look)})
            except Exception as error:  # noqa: BLE001  # whatever it is: the primary is asked, and meets it there
                read_store.failed(error)
                _begin_anew(asked.out)
        if before is not None:
            raise gave_up()
        look.refuse()
        return self._asked_at(lane, asked, None, asked.answers)

    def _asked_at(
        self, lane: int, asked: _Asked, read_store: ReadStore | None, answers: dict[str, Callable[..., Any]]
    ) -> Any:
        """The answer of the store, or of its standby."""
        if self._apart:
            return self._process(lane, read_store).ask(asked.function, asked.arguments, answers, asked.out)
        self._check_open()
        store = self._book.store if read_store is None else read_store.opened()
        follows = read_store is not None
        inside = Inside(store, lambda name, *told: answers[name](*told), asked.out, follows=follows)
        return asked.function(inside, *asked.arguments)

    def _process(self, lane: int, read_store: ReadStore | None) -> ReadingProcess:
        """The lane's process over the store or its standby, or a new one in the place of one that ended."""
        url = self._book.store.url if read_store is None else read_store.url
        with self._lock:
            self._check_open()
            process = self._processes.get((lane, url))
            if process is None or not process.is_alive:
                process = self._processes[lane, url] = ReadingProcess(url, follows=read_store is not None)
            return process

    def _end_distant(self) -> None:
        """End the processes over the standby: nothing is heard of it, and the primary is to answer instead."""
        own = self._book.store.url
        with self._lock:
            for (_, url), process in self._processes.items():
                if url != own and process.is_alive:
                    process.end()

    def _check_open(self) -> None:
        if self._closed:
            raise StoreUnavailable("service is stopping", mend="ask again when it is back")


def _judge(read_store: ReadStore, look: Look) -> Callable[[Applied, int], None]:
    """Says whether a look at the standby may answer, and notes what it shows. Raises StoreUnavailable."""

    def judge(applied: Applied, least: int) -> None:
        shown = read_store.shown(applied, max(look.least, least))
        look.shown = look.shown or shown

    return judge


def _begin_anew(out: BinaryIO | None) -> None:
    """What was written for an answer that is not given is taken back."""
    if out is not None:
        out.seek(0)
        out.truncate()


@contextmanager
def _looking(inside: Inside, least: int = 0) -> Iterator[Reader]:
    """A long look; where it is at a standby, the service says whether that may answer, ``least`` entries being needed."""
    if not inside.follows:
        with open_long_reader(inside.store, inside.beside) as reader:
            yield reader
        return
    with standby_look(inside.store, hold=True) as (transaction, applied):
        inside.ask("standby", applied, least)
        yield Reader(transaction, inside.beside)


@dataclass(frozen=True, slots=True)
class _DistantSigner:
    """Signs by asking the service, which holds the key."""

    purpose: str
    verifier: Verifier
    ask: Callable[..., Any]

    def sign(self, message: bytes) -> bytes:
        """The signature that the service gives."""
        signature: bytes = self.ask(message)
        return signature


def _answer_json(
    inside: Inside, question: Callable[..., Any], arguments: tuple[Any, ...], named: dict[str, Any]
) -> bytes:
    with _looking(inside) as reader:
        return msgspec.json.encode(question(reader, *arguments, **named))


def _write(inside: Inside, question: Callable[..., Any], arguments: tuple[Any, ...], named: dict[str, Any]) -> Any:
    with _looking(inside) as reader:
        return question(reader, *arguments, out=inside.out, **named)


class _Given(NamedTuple):
    """What a dossier needs of the service; a key is its purpose and its verifier line, a seal what reports say of it."""

    most: int | None
    stem: str
    did: str
    key: tuple[str, str]
    credential_key: tuple[str, str] | None
    seal: SealWords | None


def _key(signer: NoteSigner) -> tuple[str, str]:
    return signer.purpose, format_verifier(signer.verifier)


def _write_dossier(inside: Inside, wanted: DossierWanted, given: _Given) -> None:
    # Asked for now and not when the request came: what was entered while it waited its turn is covered too.
    note = inside.ask("checkpoint")
    issuer = None
    if given.credential_key is not None:
        issuer = issuer_of(given.stem, given.did, _distant(given.credential_key, inside, "sign_credential"))
    sealer = None if given.seal is None else DistantSealer(given.seal, inside.ask)
    giver = DossierGiver(
        note=note,
        signer=_distant(given.key, inside, "sign"),
        stem=given.stem,
        issuer=issuer,
        reporter=DossierReporter(sealer),
    )
    least = parse_checkpoint(note).tree_size if note else 0
    with _looking(inside._replace(beside=None), least) as reader:
        write_wanted(reader, inside.out, wanted, giver, most=given.most)


def _distant(key: tuple[str, str], inside: Inside, question: str) -> _DistantSigner:
    purpose, verifier = key
    return _DistantSigner(purpose, parse_verifier(verifier), partial(inside.ask, question))
