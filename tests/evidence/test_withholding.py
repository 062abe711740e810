"""What a dossier leaves closed, by sealing, by group and by field."""

from __future__ import annotations

import pytest

from ledger.errors import MalformedRecord, NotFound
from ledger.evidence.withholding import GROUPS, Withholding
from ledger.line.record import SealedField, sealed_fields
from ledger.line.vocabulary import RECORD_OF


def leaves(fields: tuple[SealedField, ...]) -> set[str]:
    """The last steps of sealed fields, within variants too."""
    inner = {step for field in fields for _, variant in field.variants for step in leaves(variant)}
    return inner | {field.steps[-1] for field in fields if not field.variants}


def test_every_sealed_field_belongs_to_one_group() -> None:
    """A record kind that seals a field of a new name says here who it is about."""
    sealed = {step for kind in RECORD_OF.values() for step in leaves(sealed_fields(kind))}
    grouped = [step for steps in GROUPS.values() for step in steps]
    assert sorted(sealed) == sorted(grouped)


def test_all_is_closed_by_default() -> None:
    """Both sealings."""
    closed = Withholding()
    assert (True, True) == (closed.covers(1, "0/note", "erasable"), closed.covers(1, "0/draws/1/kg", "withheld"))


def test_what_is_opened_wins() -> None:
    """By group or by field."""
    some = Withholding(opened=("recipe", "3/0/supplier"))
    assert [False, False, True, True] == [
        some.covers(1, "0/draws/1/kg", "withheld"),
        some.covers(3, "0/supplier", "withheld"),
        some.covers(4, "0/supplier", "withheld"),
        some.covers(3, "1/supplier", "withheld"),
    ]


def test_a_field_within_a_correction_is_of_its_group() -> None:
    """Its path is longer, and ends alike."""
    assert Withholding(("suppliers",)).covers(9, "0/changes/2/replacement/supplier", "withheld")
    assert not Withholding(("suppliers",)).covers(9, "0/changes/2/replacement/note", "erasable")


def test_a_field_that_was_never_met_is_said() -> None:
    """Whoever names a field means one that is there."""
    some = Withholding(("7/0/note",))
    with pytest.raises(NotFound, match="7/0/note"):
        some.check_met()
    assert some.covers(7, "0/note", "erasable")
    some.check_met()


@pytest.mark.parametrize(
    "name", ["everything", "", "7/note", "7/0/", "07/0/note", "7/0/Note", "7/0/note\n", "7/0/a/../b"]
)
def test_a_name_that_is_none_is_refused(name: str) -> None:
    """Sealings, groups, and paths of one form."""
    with pytest.raises(MalformedRecord, match="no such field or group"):
        Withholding(opened=(name,))
