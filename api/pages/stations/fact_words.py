"""A fact in one line of words, as a station shows what was said last."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from api.pages.catalogue import N_, Catalogue
from api.pages.words import english_word
from ledger.application.at_station import FactSaid
from ledger.line.balls import BallEngraved, UnitStarted, UnitWorked
from ledger.line.lot_changes import LotChanged, LotRecounted, LotSplit, LotWorked, PiecesLost
from ledger.line.materials import BatchMixed, MaterialReceived
from ledger.line.moulding import Pour
from ledger.line.record import Record

_TEXTS: dict[type[Record], str] = {
    LotChanged: N_("%(what)s changed to %(to)s after piece %(count)s"),
    LotSplit: N_("%(count)s pieces of %(lot)s went on as %(into)s"),
    PiecesLost: N_("%(count)s lost: %(how)s, %(reason)s"),
    LotRecounted: N_("counted again: %(left)s left"),
    UnitStarted: N_("ball %(unit)s started on the lathe"),
    UnitWorked: N_("ball %(unit)s: %(step)s"),
    BallEngraved: N_("ball %(unit)s engraved with %(serial)s"),
    MaterialReceived: N_("%(material)s came in, %(kg)s kg, as %(lot)s"),
    BatchMixed: N_("%(compound)s mixed as %(batch)s"),
}
_POURED = N_("%(kind)s: %(count)s good, %(rejects)s rejects, as %(lot)s")
_SORTS = {"step": "step", "what": "change", "how": "loss-way", "reason": "line-reason"}


def fact_words_in(words: Catalogue) -> Callable[[FactSaid], str]:
    """What tells a fact in a language; one that was taken back by its kind alone."""

    def told(fact: FactSaid) -> str:
        record = fact.record
        kind = words.gettext(english_word("kind", fact.kind))
        if record is None:
            return kind
        if isinstance(record, LotWorked):
            return words.gettext(english_word("step", record.step))
        text = _POURED if isinstance(record, Pour) else _TEXTS.get(type(record), "")
        return words.gettext(text) % {"kind": kind, **_values(words, record)} if text else kind

    return told


def _values(words: Catalogue, record: Record) -> dict[str, Any]:
    found: dict[str, Any] = {name: getattr(record, name) for name in record.__struct_fields__}
    return {
        name: words.gettext(english_word(_SORTS[name], value)) if name in _SORTS else value
        for name, value in found.items()
    }
