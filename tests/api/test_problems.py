"""Problem details: each error class has its status, and an answer comes out whatever the error holds."""

from __future__ import annotations

import json

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from litestar.exceptions import HTTPException

from api.problems import explanations, problem_of, status_of
from ledger import errors
from ledger.errors import LedgerError, WitnessRefused

CLASSES = [
    found
    for found in vars(errors).values()
    if isinstance(found, type) and issubclass(found, LedgerError) and found is not WitnessRefused
]


class Broken:
    """A value that cannot be shown."""

    def __repr__(self) -> str:
        """Fail."""
        raise RuntimeError("no")


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (errors.MalformedInput, 400), (errors.MalformedSerial, 400), (errors.Unauthenticated, 401), (errors.Forbidden, 403),
        (errors.NotFound, 404), (errors.Contradiction, 409), (errors.KeyReused, 409), (errors.TooLarge, 413),
        (errors.Refused, 422), (errors.RuleStands, 422), (errors.UnknownSubject, 422), (errors.SignatureRejected, 422),
        (errors.StoreUnavailable, 503), (errors.WriterStopped, 503), (errors.LabelUnreadable, 500), (errors.RootMismatch, 500),
        (LedgerError, 500), (errors.KeyFileRefused, 500),
    ],
)  # fmt: skip
def test_each_class_has_its_status(error: type[LedgerError], status: int) -> None:
    """The status of a class is the table's, or that of the nearest class above."""
    assert status == status_of(error("x"))


def test_a_witness_answers_with_its_own_status() -> None:
    """What a witness refuses carries the status that C2SP tlog-witness asks for."""
    assert 409 == problem_of(WitnessRefused("x", status=409, stored_size=3), "/").problem.status


@pytest.mark.parametrize("error", CLASSES, ids=lambda found: found.__name__)
def test_a_problem_says_code_where_and_mend(error: type[LedgerError]) -> None:
    """A problem carries the class's code, the field and the mend; a 500 carries none of them."""
    problem = problem_of(
        error("subject is wrong", expected="a", got="b", where="records[0].lot", mend="do it"), "/x"
    ).problem
    if problem.status == 500:
        assert ("internal-error", "", False) == (problem.code, problem.where, "subject" in problem.detail)
    else:
        assert (error.code, f"/problems/{error.code}", "records[0].lot", "do it", "/x") == (
            problem.code, problem.type, problem.where, problem.mend, problem.instance,
        )  # fmt: skip
        assert "subject is wrong: expected a, got b" == problem.detail
        assert explanations()[error.code].status == problem.status


@given(st.text(), st.text(alphabet=st.characters(), max_size=1000), st.text())
def test_any_text_can_be_answered(problem: str, got: str, where: str) -> None:
    """Whatever text an error holds, lone surrogates too, its problem is JSON."""
    answered = problem_of(errors.Refused(problem, got=got, where=where, mend=got), where).problem

    assert 422 == json.loads(msgspec.json.encode(answered))["status"]


@pytest.mark.parametrize(
    "error",
    [RuntimeError("x"), KeyError(Broken()), HTTPException(status_code=502),
     HTTPException(status_code=418, detail="\ud800"), ExceptionGroup("x", [ValueError("y")])],
    ids=["runtime", "broken", "gateway", "surrogate", "group"],
)  # fmt: skip
def test_other_errors_never_escape(error: Exception) -> None:
    """Any other exception gives a problem that can be encoded."""
    problem = problem_of(error, "/x\ud800").problem

    assert 400 <= json.loads(msgspec.json.encode(problem))["status"] < 600


def test_codes_are_unique_and_stable_slugs() -> None:
    """Every code is a lower-case slug."""
    assert [] == [code for code in explanations() if not code.replace("-", "").isalpha() or code != code.lower()]
