"""The page of one ball, what may be decided on it, and its verdicts as a file."""

from __future__ import annotations

import asyncio
import csv
import io
from fractions import Fraction
from typing import Any, NamedTuple
from urllib.parse import quote

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from markupsafe import Markup
from msgspec import UnsetType

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.ball.acts import SAYS, Turned, answer_act, done_note, form_values
from api.pages.ball.margin_picture import margin_picture
from api.pages.ball.receipt import ReceiptShown, engraving_entry, receipt_shown
from api.pages.ball.time_pictures import cure_picture, detail_words, permitted_ms, step_words, way_picture
from api.pages.catalogue import Catalogue
from api.pages.desk.forms import may_say
from api.pages.lots.trace_cut import cut_web
from api.pages.lots.trace_picture import amount_words, trace_picture
from api.pages.page import catalogue_of, page
from api.parts import Parts, file_answer, parts_of
from ledger.application.ball_story import BallStory, ball_story
from ledger.application.judging import JudgedBy
from ledger.application.trace_web import BY_WEIGHT
from ledger.conformity.decision import shown
from ledger.conformity.outcome import Verdict
from ledger.line.fact import parse_address
from ledger.line.quantity import UNITS
from ledger.store.reader import open_reader

CSV = "text/csv"


class Told(NamedTuple):
    """What is looked up for the page."""

    story: BallStory
    receipt: ReceiptShown | None


class Row(NamedTuple):
    """One verdict with its picture. ``anchor``: its id on the page; ``spread``: U, rounded up to two digits."""

    anchor: str
    verdict: Verdict
    picture: Markup | None
    unit: str
    spread: str

    @property
    def house(self) -> Any:
        """The house's judgement, None where it has no policy or nothing was held against the limit."""
        house = self.verdict.house
        return None if isinstance(house, UnsetType) or self.verdict.value is None else house


class Strip(NamedTuple):
    """One rulebook: what applies to the ball as rows, and what does not."""

    judged: JudgedBy
    rows: tuple[Row, ...]
    others: tuple[Verdict, ...]

    @property
    def house(self) -> str:
        """The outcome by the rule of the house; empty where there is none."""
        house = self.judged.house
        return "" if isinstance(house, UnsetType) else house


class BallPages(Controller):
    """One ball."""

    path = "/ball/{unit:str}"

    @get(
        opt=described(
            Operation("Everything about one ball", "pages", action="look-up", media=HTML, page=True, may_lag=True)
        )
    )
    async def show(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """What it is, how it came out, how it was made, and what stands behind each fact."""
        return await _page(request, unit)

    @post(
        "/{act:str}",
        status_code=303,
        opt=described(Operation("Decide on a ball", "pages", action="look-up", media=HTML, page=True)),
    )
    async def act(self, request: Request[Any, Any, Any], unit: FromPath[str], act: FromPath[str]) -> Response[bytes]:
        """A hold placed or lifted, a release, rework, an end; each by who may say its record."""
        return await answer_act(request, act, f"unit:{unit}", SAYS, lambda turned: _page(request, unit, turned))

    @get(
        "/verdicts.csv",
        opt=described(
            Operation(
                "The verdicts on a ball as CSV", "look up", action="look-up", media=CSV, problems=(404,), may_lag=True
            )
        ),
    )
    async def verdicts(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """A line for each requirement of each rulebook."""
        judged = await asyncio.to_thread(parts_of(request).book.judged, unit)
        return file_answer(_csv(judged).encode(), CSV, name=f"verdicts-{unit}.csv" if unit.isascii() else "")


async def _page(request: Request[Any, Any, Any], unit: str, refused: Turned | None = None) -> Response[bytes]:
    # Made on a thread: registrations go on beside it.
    return await asyncio.to_thread(_made, request, unit, refused)


def _made(request: Request[Any, Any, Any], unit: str, refused: Turned | None) -> Response[bytes]:
    consignees = may_do(request, "cases")
    told = _told(parts_of(request), unit, consignees=consignees)
    words, story = catalogue_of(request), told.story
    ball = story.ball
    act, entry = done_note(request, [said.fact for said in ball.history])
    return page(
        request,
        "ball/ball.html",
        status=200 if refused is None else refused.fault.problem.status,
        headers={"cache-control": "no-store"},
        told=story,
        ball=ball,
        strips=[_strip(number, judged, words) for number, judged in enumerate(ball.judged)],
        cures=[(cure, cure_picture(cure, words)) for cure in ball.cures],
        way=way_picture(story.steps, ball.cures, story.lots, ball.serial or ball.unit, words),
        materials=_materials(story, words),
        drawn_words=lambda one: amount_words(one.drawn, words, by_weight=one.stage in BY_WEIGHT),
        after=permitted_ms,
        step_words=lambda step: step_words(step, words),
        detail_words=lambda step: detail_words(step, words),
        unit_words=lambda code: UNITS[code].printed,
        entry_of=lambda fact: parse_address(fact)[0],
        receipt=told.receipt,
        see_entries=may_do(request, "entries"),
        see_claims=may_do(request, "claims"),
        see_approvals=may_do(request, "approvals"),
        see_consignees=consignees,
        see_labels=may_do(request, "labels"),
        see_shipments=may_do(request, "shipments"),
        may_ship=may_say(request, "shipment"),
        done=act,
        done_entry=entry,
        base=f"/ball/{quote(unit)}",
        **form_values(request, refused),
    )


def _told(parts: Parts, unit: str, *, consignees: bool) -> Told:
    with open_reader(parts.book.store) as reader:
        story = ball_story(reader, unit, consignees=consignees)
    index = engraving_entry(story.ball.history)
    return Told(story, None if index is None else receipt_shown(parts.book, index))


def _strip(number: int, judged: JudgedBy, words: Catalogue) -> Strip:
    rows = tuple(
        Row(
            f"v{number}-{place}", verdict, margin_picture(verdict, words), UNITS[verdict.unit].printed, _spread(verdict)
        )
        for place, verdict in enumerate(judged.verdicts)
        if verdict.outcome != "not_applicable"
    )
    return Strip(judged, rows, tuple(one for one in judged.verdicts if one.outcome == "not_applicable"))


def _spread(verdict: Verdict) -> str:
    return "" if verdict.expanded is None else shown(Fraction(verdict.expanded), 2)


def _materials(story: BallStory, words: Catalogue) -> Markup:
    title = words.gettext("What %(ball)s is made from") % {"ball": story.ball.serial or story.ball.unit}
    return trace_picture(cut_web(story.web), "", words, title=title, walk="/lot/")


def _csv(judged: list[JudgedBy]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        ["rulebook", "requirement", "quantity", "outcome", "value", "U", "limit", "margin", "unit", "guard_band",
         "probability", "house", "house_guard_band", "decision", "provenance", "fact"]
    )  # fmt: skip
    for one in judged:
        for verdict in one.verdicts:
            house = None if isinstance(verdict.house, UnsetType) else verdict.house
            writer.writerow(
                [one.rulebook, verdict.requirement, verdict.quantity, verdict.outcome, verdict.value, verdict.expanded,
                 verdict.limit, verdict.margin, verdict.unit, verdict.guard_band, verdict.probability,
                 house and house.outcome, house and house.guard_band, verdict.decision, verdict.provenance, verdict.fact]
            )  # fmt: skip
    return out.getvalue()
