"""The report of a dossier: put together from the dossier itself and what is drawn of its balls, and sealed where there is a seal."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

from ledger.application.dossier_scope import Scoped
from ledger.application.report_background import report_backgrounds
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.entry import read_entry
from ledger.book.instant import instant_ms
from ledger.book.note import MAX_NOTE_BYTES
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import CHECKPOINT
from ledger.store.reader import Reader

if TYPE_CHECKING:
    from ledger.evidence.pdf.flow import Paper
    from ledger.evidence.pdf.seal import Sealed, Sealer, SealWords


class DossierReporter:
    """Makes the report of each dossier that it is given; a `ledger.application.dossiers.Reporter`.

    ``said``: in words, how the last one was sealed, for whoever asked for it.
    """

    def __init__(self, sealer: Sealer | None, paper: Paper = "A4") -> None:
        """Without a sealer a report says that it carries no seal."""
        self._sealer, self._paper = sealer, paper
        self.said = ""

    def __call__(self, reader: Reader, scoped: Scoped, dossier: bytes) -> bytes:
        """The bytes of report.pdf.

        Raises TooLarge for more balls than a report may have, Unsupported where the extra is not installed.
        """
        # Importing it takes a second, and only a report needs it.
        from ledger.evidence.pdf.make import ReportContent, make_report  # noqa: PLC0415

        content = ReportContent(
            dossier=dossier,
            plant=_plant(reader),
            at=_stated_at(reader, dossier),
            balls=report_backgrounds(reader, scoped.units),
            paper=self._paper,
        )
        sealed = make_report(content, self._sealer)
        if self._sealer is None:
            self.said = "the report carries no seal"
        elif sealed.unstamped:
            self.said = (
                f"the report is sealed by {self._sealer.words.subject}, without a time stamp: {sealed.unstamped}"
            )
        else:
            self.said = f"the report is sealed by {self._sealer.words.subject}, with a time stamp"
        return sealed.pdf


class DistantSealer(NamedTuple):
    """A sealer whose key is with the service: the service is asked."""

    words: SealWords
    ask: Callable[..., Any]

    def seal(self, pdf: bytes) -> Sealed:
        """The file with its seal, as the service gives it."""
        sealed: Sealed = self.ask("seal", pdf)
        return sealed


def _plant(reader: Reader) -> str:
    """The maker's name, as the book was opened with."""
    return str(read_entry(reader.entry(0).bytes).said.records[0].get("plant", ""))


def _stated_at(reader: Reader, dossier: bytes) -> dt.datetime:
    """When the last entry under the dossier's checkpoint was recorded: the report states no instant of its own."""
    head = parse_checkpoint(Archive(io.BytesIO(dossier)).read(CHECKPOINT, MAX_NOTE_BYTES))
    recorded = read_entry(reader.entry(head.tree_size - 1).bytes).recorded_at
    return dt.datetime.fromtimestamp(instant_ms(recorded) / 1000, dt.UTC)
