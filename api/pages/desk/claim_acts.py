"""What is done about a claim by its forms: examined, decided, answered by letter, the ball replaced."""

import asyncio
from collections.abc import Mapping
from typing import Any

from litestar import Controller, Request, Response, post
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import read_form
from api.pages.desk.claim_page import show_claim
from api.pages.desk.forms import fault_of, key_of, now_text, record_of, say, typed_in
from api.pages.desk.uploads import MOST_BYTES, evidence_of, kept_texts
from api.pages.refusal import see_other
from api.parts import Parts, file_answer, parts_of
from ledger.application.claim_letters import LetterAsked, letter_facts, send_letter
from ledger.application.finding import bearing_rows
from ledger.application.warranty_desk import known_claim
from ledger.errors import KeyReused, LedgerError, NotFound, RuleStands
from ledger.evidence.letter import letter_pdf
from ledger.line.claims import STATE_WORDS, ClaimDecided, ClaimExamined, ClaimReplaced, Evidence
from ledger.line.rows import Unit
from ledger.store.reader import Reader, open_reader
from ledger.warranty.claim_letter import ANSWERED, claim_letter
from ledger.warranty.letter import Letter

PDF = "application/pdf"
DECIDE = ("way", "answer_by", "decide_note")
EXAMINE = ("findings", "examine_note")
REPLACE = ("new_ball", "term", "old_ball", "replace_note")


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="warranty", media=HTML, page=True))


class ClaimActs(Controller):
    """The forms of a claim's page."""

    path = "/desk/claim/{claim:str}"

    @post("/examine", status_code=303, request_max_body_size=MOST_BYTES, opt=_described("Say what was found"))
    async def examine(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Enter an examination, with its photos."""
        form = await read_form(request)
        typed, evidence = typed_in(form, EXAMINE), tuple[Evidence, ...]()
        try:
            evidence = await evidence_of(request, form)
            named = [{"digest": one.digest, "what": one.what} for one in evidence]
            findings = [_slug(text) for text in typed["findings"].split(",") if text.strip()]
            said = {"claim": claim, "findings": findings, "evidence": named, "note": typed["examine_note"]}
            entered = await say(request, key_of(form), _record(request, ClaimExamined, said))
        except LedgerError as error:
            fault = fault_of(request, error, {"note": "examine_note", "evidence": "photos"})
            kept = kept_texts(evidence)
            return await show_claim(
                request, claim, form="examine", typed=typed, fault=fault, kept=kept, key=form.text("key")
            )
        return _back(claim, "examined" if entered else "again")

    @post("/decide", status_code=303, opt=_described("Decide a claim"))
    async def decide(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Enter a decision with its reason, and the facts that it rests on."""
        form = await read_form(request)
        typed = typed_in(form, DECIDE)
        decision, _, reason = typed["way"].partition(":")
        facts = dict.fromkeys(fact for text in form.every("rests_on") for fact in text.split(",") if fact)
        typed["rests_on"] = " ".join(form.every("rests_on")) or "none"
        said = {"claim": claim, "decision": decision, "reason": reason, "rests_on": tuple(facts)}
        said |= {"answer_by": typed["answer_by"], "note": typed["decide_note"]}
        try:
            entered = await say(request, key_of(form), _record(request, ClaimDecided, said))
        except LedgerError as error:
            fault = fault_of(request, error, {"note": "decide_note", "decision": "way", "reason": "way"})
            return await show_claim(
                request, claim, form="decide", typed=typed, fault=fault, decide_key=form.text("key")
            )
        return _back(claim, "decided" if entered else "again")

    @post("/letter", status_code=200, opt=_described("Write the letter of a claim"))
    async def letter(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """``act``: look (as text), pdf (as a file), or send: store it and enter that it went."""
        form = await read_form(request)
        typed, act, parts = typed_in(form, ("to",)), form.text("act"), parts_of(request)
        lines = tuple(line.strip() for line in typed["to"].splitlines() if line.strip())
        try:
            if act == "send":
                return _back(
                    claim, "written" if await _send(request, LetterAsked(claim, lines), key_of(form)) else "again"
                )
            draft = await asyncio.to_thread(_draft, parts, claim, lines)
        except LedgerError as error:
            return await show_claim(
                request, claim, form="letter", typed=typed, fault=fault_of(request, error), key=form.text("key")
            )
        if act == "pdf":
            return file_answer(await asyncio.to_thread(letter_pdf, draft), PDF, name="letter.pdf")
        return await show_claim(request, claim, form="letter", typed=typed, draft=draft, key=form.text("key"))

    @post("/replace", status_code=303, opt=_described("Name the ball that took the place of a claimed one"))
    async def replace(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """By its number or its unit, with its term and what became of the old ball."""
        form = await read_form(request)
        typed = typed_in(form, REPLACE)
        try:
            unit = await asyncio.to_thread(_ball, parts_of(request), typed["new_ball"])
            said = {"claim": claim, "unit": unit, "term": typed["term"], "old_ball": typed["old_ball"]}
            said["note"] = typed["replace_note"]
            entered = await say(request, key_of(form), _record(request, ClaimReplaced, said))
        except LedgerError as error:
            fault = fault_of(request, error, {"unit": "new_ball", "note": "replace_note"})
            return await show_claim(request, claim, form="replace", typed=typed, fault=fault, key=form.text("key"))
        return _back(claim, "replaced" if entered else "again")


def _back(claim: str, note: str) -> Response[bytes]:
    return see_other(f"/desk/claim/{claim}?note={note}")


def _record(request: Request[Any, Any, Any], kind: Any, said: Mapping[str, Any]) -> Any:
    return record_of(kind, {**said, "at": now_text(request)})


def _slug(text: str) -> str:
    """A finding as it is entered: short words with hyphens between."""
    return "-".join(text.lower().replace("-", " ").split())


async def _send(request: Request[Any, Any, Any], asked: LetterAsked, key: str) -> bool:
    """Store the letter and enter that it went; whether it was not entered before."""
    try:
        written = await asyncio.to_thread(send_letter, parts_of(request).book, asked, key, account_of(request))
        return not (await parts_of(request).entered(written.entered)).repeated
    except KeyReused:
        return False


def _draft(parts: Parts, claim: str, to: tuple[str, ...]) -> Letter:
    """The letter as it would be. Raises NotFound, RuleStands."""
    with open_reader(parts.book.store) as reader:
        row = known_claim(reader, claim)
        if row.state not in ANSWERED:
            raise RuleStands(
                f"claim {claim} is neither decided nor waiting",
                expected="a claim that is decided, or waits for the claimant or the ball",
                got=STATE_WORDS[row.state],
                where="claim",
                mend="decide it first, or ask for more",
            )
        return claim_letter(letter_facts(reader, row, to, parts.book.clock_ms()))


def _ball(parts: Parts, typed: str) -> str:
    """The unit that a number or unit names. Raises NotFound, RuleStands where several balls bear it."""
    with open_reader(parts.book.store) as reader:
        if reader.one(Unit, typed.upper()) is not None:
            return typed.upper()
        units = _bearers(reader, typed) if typed else []
    if not units:
        raise NotFound(
            "no ball of this book bears this number",
            got=typed or "nothing",
            where="new_ball",
            mend="read it again, or name the unit",
        )
    if len(units) > 1:
        raise RuleStands(
            "several balls bear this number",
            expected="one ball",
            got=", ".join(units[:5]),
            where="new_ball",
            mend="name the unit that was sent",
        )
    return units[0]


def _bearers(reader: Reader, typed: str) -> list[str]:
    return sorted({row.unit for row in bearing_rows(reader, typed) if row.until_ms is None})
