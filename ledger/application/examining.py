"""What an outside auditor is shown: the balls of a granted part, one ball of it, verdicts on them, and what was looked at.

Each answer is made first, then the look is entered (``examined``), then the answer is sent: a look that the book does not
take shows nothing. Whether the grant stands at that moment is the line's check; what is in the part is checked here.
"""

from __future__ import annotations

import hashlib
import secrets
from collections import Counter
from collections.abc import Sequence

import msgspec
from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.adopted_files import find_rulebook
from ledger.application.ball_view import Ball, ball_view
from ledger.application.conformity_query import JudgedBall
from ledger.application.histories import instant_text
from ledger.application.judging import grounds_of, judge_by, judged_rows
from ledger.application.release_policies import policy_in_force
from ledger.application.trace_web import BY_WEIGHT
from ledger.conformity.verdict import CAUTION
from ledger.errors import NotFound, TooLarge
from ledger.line.examination_rows import Examination
from ledger.line.examinations import Examined, check_open
from ledger.line.submission import Submission
from ledger.store.examined_part import PartBall, balls_of_part, count_of_part, count_told, is_in_part
from ledger.store.reader import Reader
from ledger.store.selections import every_row, select_units

LISTED = 500
"""Balls that one answer lists."""
MOST = 10_000
"""Balls of a part that are counted and written into one dossier."""


class ExaminationSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A grant: whose, what of the book, from when to when. ``balls``: how many it has now, counted up to 10,000."""

    examination: str
    account: str
    from_at: str
    to_at: str
    balls: int
    looks: int
    models: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    made_from: str = ""
    made_to: str = ""
    withheld: tuple[str, ...] = ()
    ended_at: str = ""


class Look(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One look that was entered: the fact, the question and what it named."""

    fact: str
    at: str
    question: str
    balls: int
    named: tuple[str, ...] = ()
    answer: str = ""


class ExaminationWhole(msgspec.Struct, frozen=True, kw_only=True):
    """A grant and every look under it, newest last."""

    examination: ExaminationSeen
    looks: tuple[Look, ...]


class PartSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Balls of a part, in unit order; ``more`` says that there are more behind the last."""

    examination: str
    balls: tuple[BallIn, ...]
    more: bool = False


class BallIn(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball of a part."""

    unit: str
    lot: str
    state: str
    serial: str | None = None
    model: str | None = None
    weight_class_lb: int | None = None
    made_on: str = ""


class PartJudged(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Balls of a part judged by one rulebook, and how many came out how; ``more`` as in `PartSeen`."""

    examination: str
    rulebook: str
    edition: str
    digest: str
    caution: str
    outcomes: dict[str, int]
    balls: tuple[JudgedBall, ...]
    more: bool = False


def granted(reader: Reader, examination: str) -> Examination:
    """The grant of this id. Raises NotFound."""
    row = reader.one(Examination, examination)
    if row is None:
        raise NotFound(f"examination {examination} is not in the book", where="examination", mend="correct the id")
    return row


def open_part(reader: Reader, examination: str, account: Account, now_ms: int) -> Examination:
    """The part that an account may look at now. Raises NotFound, RuleStands."""
    row = granted(reader, examination)
    check_open(row, account.account, now_ms)
    return row


def examinations(reader: Reader, account: Account | None = None) -> tuple[ExaminationSeen, ...]:
    """Every grant, or those of one account, the one that ends last first."""
    rows: list[Examination] = every_row(reader.transaction, Examination)
    own = [row for row in rows if account is None or row.account == account.account]
    return tuple(_seen(reader, row) for row in sorted(own, key=lambda row: (-row.to_ms, row.examination)))


def examination_whole(reader: Reader, examination: str) -> ExaminationWhole:
    """A grant and what was looked at under it. Raises NotFound."""
    row = granted(reader, examination)
    looks = tuple(
        Look(
            fact=fact.address,
            at=fact.record.at,
            question=fact.record.question,
            balls=fact.record.balls,
            named=fact.record.named,
            answer=fact.record.answer or "",
        )
        for fact in reader.facts_about(f"examination:{examination}")
        if isinstance(fact.record, Examined)
    )
    return ExaminationWhole(examination=_seen(reader, row), looks=looks)


def part_balls(reader: Reader, part: Examination, after: str = "") -> PartSeen:
    """The next 500 balls of a part."""
    found = balls_of_part(reader.transaction, part, after=after, limit=LISTED + 1)
    return PartSeen(examination=part.examination, balls=tuple(map(_ball_in, found[:LISTED])), more=len(found) > LISTED)


def part_ball(reader: Reader, part: Examination, unit: str) -> Ball:
    """One ball of a part, without claims on it, which are of other people, and files for other bodies. Raises NotFound.

    Without amounts of materials and mixes too, where the grant withholds them.
    """
    if not is_in_part(reader.transaction, part, unit):
        raise NotFound(
            f"ball {unit} is not in the part of examination {part.examination}",
            where="unit",
            mend="ask for one that the list shows",
        )
    ball = ball_view(reader, unit)
    if "withheld" in part.withheld.split(","):
        # What was drawn of materials and mixes is the recipe, which the entries seal.
        untold = tuple(
            msgspec.structs.replace(lot, drawn=0) if lot.stage in BY_WEIGHT else lot for lot in ball.materials
        )
        ball = msgspec.structs.replace(ball, materials=untold)
    return msgspec.structs.replace(ball, claims=(), sample_of=())


def part_judged(reader: Reader, part: Examination, rulebook: str, after: str = "") -> PartJudged:
    """The next 500 balls of a part judged by a rulebook. Raises NotFound."""
    edition, policy = find_rulebook(reader, rulebook), policy_in_force(reader)
    found = balls_of_part(reader.transaction, part, after=after, limit=LISTED + 1)
    selected = select_units(reader.transaction, [ball.unit for ball in found[:LISTED]])
    grounds = grounds_of(reader, selected)
    balls = tuple(
        JudgedBall(
            unit=one.unit.unit,
            serial=one.unit.serial,
            lot=one.unit.lot,
            state=one.unit.state,
            judged=judge_by(edition, judged_rows(one, grounds), policy),
        )
        for one in selected
    )
    return PartJudged(
        examination=part.examination,
        rulebook=edition.rulebook.id,
        edition=edition.rulebook.edition,
        digest=edition.digest,
        caution=CAUTION,
        outcomes=dict(sorted(Counter(str(ball.judged.outcome) for ball in balls).items())),
        balls=balls,
        more=len(found) > LISTED,
    )


def part_serials(reader: Reader, part: Examination) -> list[str]:
    """The numbers of every ball of a part, for its dossier. Raises NotFound where there is none, TooLarge beyond 10,000."""
    found = balls_of_part(reader.transaction, part, limit=MOST + 1)
    if not found:
        raise NotFound(f"no ball is in the part of examination {part.examination}", where="examination")
    if len(found) > MOST:
        raise TooLarge(
            "part is too large for one dossier",
            expected=f"at most {MOST} balls",
            mend="ask the plant for narrower parts",
        )
    return [ball.serial for ball in found if ball.serial is not None]


def look_at(
    part: Examination, question: str, now: str, balls: int, *, named: Sequence[str] = (), answer: bytes | None = None
) -> Submission:
    """What is entered of a look, before the answer is sent; ``now`` is the instant as text."""
    record = Examined(
        at=now,
        examination=part.examination,
        question=question,
        named=tuple(name[:80] for name in named if name),
        balls=balls,
        answer=UNSET if answer is None else hashlib.sha256(answer).hexdigest(),
    )
    return Submission(key=f"look-{secrets.token_hex(12)}", records=(record,))


def _seen(reader: Reader, row: Examination) -> ExaminationSeen:
    # Besides the looks, a grant is told of when it is given and when it is ended.
    looks = count_told(reader.transaction, f"examination:{row.examination}") - (1 if row.ended_ms is None else 2)
    return ExaminationSeen(
        examination=row.examination,
        account=row.account,
        from_at=instant_text(row.from_ms),
        to_at=instant_text(row.to_ms),
        balls=count_of_part(reader.transaction, row, MOST),
        looks=looks,
        models=_names(row.models),
        lots=_names(row.lots),
        units=_names(row.units),
        made_from="" if row.made_from_ms is None else instant_text(row.made_from_ms),
        made_to="" if row.made_to_ms is None else instant_text(row.made_to_ms),
        withheld=_names(row.withheld),
        ended_at="" if row.ended_ms is None else instant_text(row.ended_ms),
    )


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split(",")) if text else ()


def _ball_in(ball: PartBall) -> BallIn:
    return BallIn(
        unit=ball.unit,
        lot=ball.lot,
        state=ball.state,
        serial=ball.serial,
        model=ball.model,
        weight_class_lb=ball.weight_class,
        made_on="" if ball.engraved_ms is None else instant_text(ball.engraved_ms),
    )
