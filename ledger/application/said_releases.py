"""Releases that come as records, and lifted holds of releases: checked against the ball itself before they are queued.

`releasing` judges balls and says their releases.  Whoever says the record himself (``POST /submissions``, a correction, a
station's signature) states how the ball comes out; that is judged here again, by the very edition and policy that the
record names, so that no false statement makes a failing ball first quality.  Two parts make it safe together:

- Here, before it is queued: the outcomes that a release at first quality states are those of the ball's facts, and an
  account that says ``undecided`` has a role that the policy *named by the record* gives that to.
- In the line, when it is entered (`ledger.line.releases`): readings, plan, editions and policy that the record names are
  the ones in force for its entry, and the policy accepts the outcomes stated.

What changes between the two changes one of the things named, and the line refuses: a policy that was set meanwhile takes
back every permission that was given under the one before.  (A corrected release rests on the policy of its own entry, so a
correction lets no undecided ball out.)  What is not named goes with the submission as a digest (`ledger.line.judged_with`):
where a calibration, a study, an approval or the like was entered between the two, the line refuses as well.

So such a release stands alone: nothing but releases comes before it in its submission, since what it was judged on is what
stood before.  A hold that doubts a release is lifted as `said_lifts` says.  A key that was used already is left to the
writer, which enters nothing for it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.adopted_files import rulebooks_here
from ledger.application.judged_grounds import judged_with_in
from ledger.application.judging import JudgedBy, grounds_of, judge_by, judged_rows, with_cover
from ledger.application.said_lifts import check_lift
from ledger.errors import Forbidden, NotFound, RuleStands, UnknownSubject
from ledger.line.corrections import Correction
from ledger.line.holds import Concession, HoldLifted
from ledger.line.inspections import readings_digest
from ledger.line.record import Record
from ledger.line.release_policy import roles_for_undecided
from ledger.line.releases import Basis, Release
from ledger.line.rows import ReleasePolicy
from ledger.line.submission import Submission, said_records
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selected, Selection, select_balls

LOOKED_AT: frozenset[type[Record]] = frozenset({Release, HoldLifted, Concession, Correction})
"""Kinds for which `check_said_releases` may have to look into the store."""


class _Said(NamedTuple):
    """A record of a submission, or a replacement in a correction, where it stands, and whether only releases come before."""

    record: Record
    where: str
    apart: bool
    replaces: bool = False


def check_said_releases(store: Store, submission: Submission, account: Account) -> dict[str, str]:
    """Check the releases and lifted holds among the records of a submission (see above).

    Gives what the balls of releases at first quality were judged with, as a digest by unit.  Raises RuleStands,
    UnknownSubject, Forbidden.  Costs nothing where there are none.
    """
    judged: dict[str, str] = {}
    records = said_records(submission)
    if LOOKED_AT.isdisjoint(map(type, records)):
        return judged
    with open_reader(store) as reader:
        if reader.requested(account.account, submission.key) is not None:
            return judged
        for said in _said(records):
            if isinstance(said.record, Release):
                _check_release(reader, said.record, said, account)
                if said.record.grade == "first":
                    judged |= judged_with_in(reader, [said.record.unit])
            elif isinstance(said.record, HoldLifted | Concession):
                check_lift(reader, said.record, said.where, account)
    return judged


def check_role_for_undecided(roles: Collection[str], policy: ReleasePolicy | None, *, where: str) -> None:
    """One of the roles may release an undecided ball under the policy. Raises RuleStands where none may, Forbidden."""
    allowed = roles_for_undecided(policy)
    if not allowed:
        raise RuleStands(
            "nobody releases an undecided ball as first quality",
            expected="a release policy that names a role for it"
            if policy is None
            else f"a role in policy {policy.address}",
            where=where,
            mend="measure it again with a smaller uncertainty, or release the ball at another grade",
        )
    if set(allowed).isdisjoint(roles):
        raise Forbidden(
            "this account may not release an undecided ball as first quality",
            expected=", ".join(allowed),
            got=", ".join(roles) or "no role",
            where=where,
            mend=f"use an account with the role {' or '.join(allowed)} too",
        )


def _said(records: Sequence[Record]) -> Iterator[_Said]:
    for place, record in enumerate(records):
        apart = all(isinstance(earlier, Release) for earlier in records[:place])
        if not isinstance(record, Correction):
            yield _Said(record, f"records[{place}]", apart)
            continue
        replaced: list[Any] = [change.replacement for change in record.changes]
        # What is withdrawn in the same moment would still be judged with.
        apart = all(isinstance(one, Release) for one in replaced)
        for number, one in enumerate(replaced):
            if one is not UNSET:
                yield _Said(one, f"records[{place}].changes[{number}].replacement", apart, replaces=True)


def _check_release(reader: Reader, record: Release, said: _Said, account: Account) -> None:
    policy = None if record.policy is UNSET else reader.one(ReleasePolicy, record.policy)
    if record.undecided and said.replaces:
        raise RuleStands(
            "a correction lets no undecided ball out: it would rest on the policy of an entry that is past",
            expected="a release of its own",
            where=f"{said.where}.undecided",
            mend="withdraw the release, then release the ball by the policy in force",
        )
    if record.undecided:
        check_role_for_undecided(account.roles, policy, where=f"{said.where}.undecided")
    if record.grade != "first":
        return
    if not said.apart:
        raise RuleStands(
            "a release at first quality is judged on what stood before its entry",
            expected="nothing but releases before it, and beside it in a correction",
            where=said.where,
            mend="enter the other records first, then release the ball",
        )
    one = _selected(reader, record.unit)
    if one is None:
        raise UnknownSubject(
            f"unit {record.unit} is not in the book",
            where=f"{said.where}.unit",
            mend="correct the unit id, or enter the ball and its readings first",
        )
    standing = readings_digest(one.measured)
    if record.readings != standing:
        raise RuleStands(
            "the readings changed since the verdicts were made",
            expected=standing,
            got=record.readings,
            where=f"{said.where}.readings",
            mend="judge the ball again and release it on the new verdicts",
        )
    for place, basis in enumerate(record.bases):
        _check_basis(basis, _judged(reader, one, basis, policy), f"{said.where}.bases[{place}]")


def _judged(reader: Reader, one: Selected, basis: Basis, policy: ReleasePolicy | None) -> JudgedBy | None:
    """The ball judged by the edition that a basis names; None where its file is not here or bears another name."""
    try:
        edition = rulebooks_here(reader).shelf.find_digest(basis.digest)
    except NotFound:
        return None
    if edition.rulebook.id != basis.rulebook:
        return None
    judged = judge_by(edition, judged_rows(one, grounds_of(reader, [one])), policy)
    return with_cover(reader, one, judged, edition)


def _check_basis(basis: Basis, judged: JudgedBy | None, where: str) -> None:
    if judged is None:
        raise RuleStands(
            f"no edition of rulebook {basis.rulebook} with that digest is here to judge the ball by",
            got=basis.digest,
            where=f"{where}.digest",
            mend="send its file (POST /rulebooks), then release the ball",
        )
    for field, stated, found in (
        ("outcome", basis.outcome, judged.released_as),
        ("house", basis.house, judged.house_released_as),
        ("covered", ", ".join(sorted(basis.covered)), ", ".join(judged.covered)),
    ):
        if stated != found:
            raise RuleStands(
                f"the ball comes out otherwise under {basis.rulebook}",
                expected="none" if found in (UNSET, "") else found,
                got="nothing" if stated in (UNSET, "") else stated,
                where=f"{where}.{field}",
                mend="let the service judge it (POST /releases), or give the ball another grade",
            )


def _selected(reader: Reader, unit: str) -> Selected | None:
    found = select_balls(reader.transaction, Selection(unit=unit))
    return found[0] if found else None
