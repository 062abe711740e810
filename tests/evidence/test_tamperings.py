"""The whole check on every tampered dossier of the table: each is refused, and the place of the first fault is named."""

from __future__ import annotations

import io
import time
from collections.abc import Callable

import pytest

from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.verifier import check_dossier
from tests.evidence.signed_entries import INTRODUCED, SAYS, STATION, signed_dossier
from tests.evidence.tampered_parts import reported_dossier
from tests.evidence.tamperings import TAMPERINGS
from tests.evidence.witnessed_dossier import KEYS, full_dossier, policy_text, trust_of


@pytest.mark.parametrize("name", list(TAMPERINGS))
def test_a_tampered_dossier_is_refused(name: str) -> None:
    """Whatever was done to it, an error of ours says where it shows first."""
    tampering = TAMPERINGS[name]
    trust = trust_of(tampering.trust, time.time_ns() // 1_000_000)

    with pytest.raises((MalformedDossier, DossierRejected)) as found:
        check_dossier(io.BytesIO(tampering.make()), trust)

    where = found.value.where.partition(":")[0]
    assert where.startswith(tampering.where) if tampering.where else where == ""


@pytest.mark.parametrize("trust", [KEYS, policy_text("any"), policy_text("all"), policy_text("2")])
def test_what_is_tampered_with_was_good(trust: str) -> None:
    """The dossier that the table starts from is right, under each trust that its rows take."""
    report = check_dossier(io.BytesIO(full_dossier()), trust_of(trust))

    assert (2, 14, 2) == (report.counts.balls, report.counts.entries, len(report.cosigned))


@pytest.mark.parametrize(
    ("make", "signed"),
    [(reported_dossier, 0), (lambda: signed_dossier([[INTRODUCED], [SAYS]], {3: STATION}), 1)],
    ids=["whole", "signed by a station"],
)
def test_parts_that_are_tampered_with_were_good(make: Callable[[], bytes], signed: int) -> None:
    """Events, credentials, report and stations' signatures are right in the dossiers that their rows start from."""
    report = check_dossier(io.BytesIO(make()), trust_of(KEYS))

    assert signed == report.signed_entries
    assert ({"events", "credentials", "report"} if not signed else set()) == report.parts.keys()


def test_the_table_is_long_enough() -> None:
    """Fifty tampered dossiers at least are found by the browser too."""
    assert 50 <= sum(one.by_both for one in TAMPERINGS.values())
