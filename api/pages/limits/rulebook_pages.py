"""Rulebooks: the editions at hand with their limits, what two of them have otherwise, and taking a file of the plant's own."""

from __future__ import annotations

import asyncio
import re
import secrets
from collections import Counter
from collections.abc import Mapping
from typing import Any, NamedTuple

from litestar import Controller, Request, Response, get, post
from litestar.datastructures import UploadFile
from litestar.params import FromPath

from api.guards import account_of, may_do
from api.pages.limits.answering import address_of, typed_in
from api.pages.limits.options import Edition, edition_of
from api.pages.limits.tabs import RULEBOOKS, limits_page, of_limits
from api.pages.refusal import see_other
from api.parts import parts_of
from api.problems import Problem, problem_of
from ledger.application.adopted_files import find_rulebook, rulebooks_here
from ledger.application.adopting import rulebook_adoption
from ledger.conformity.requirement import Requirement
from ledger.conformity.requirement_words import (
    decision_words,
    effect_words,
    method_words,
    per_words,
    quantity_words,
    scope_words,
)
from ledger.conformity.rulebook import RulebookFile, shipped_rulebooks
from ledger.conformity.rulebook_diff import Difference, differences
from ledger.conformity.toml_text import LARGEST_FILE
from ledger.errors import LedgerError, MalformedInput
from ledger.store.engine import Store
from ledger.store.reader import open_reader

DIFFERENCE = "/limits/difference"

AROUND = 2
"""Lines of a refused file that are shown before and after the one that is wrong."""

_ENVELOPE = 20_000
"""Bytes of a form beside its file."""


class EditionRow(NamedTuple):
    """An edition, what its limits rest on by provenance, and what they do by effect. ``current``: its name means it."""

    edition: Edition
    file: RulebookFile
    ships: bool
    current: bool
    provenances: Mapping[str, int]
    effects: Mapping[str, int]


class RequirementSeen(NamedTuple):
    """A requirement in words."""

    requirement: Requirement
    words: str
    scope: str
    per: str
    effect: str
    decision: str
    method: str


class WrongLine(NamedTuple):
    """A line of a refused file, by its number from 1."""

    number: int
    text: str
    wrong: bool


class RulebookPages(Controller):
    """Limits as they were read."""

    @get(RULEBOOKS, opt=of_limits("Rulebooks", "look-up"))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The editions, the form that compares two, and for a quality lead the form that takes a file."""
        return await _page(request)

    @post(
        RULEBOOKS,
        status_code=303,
        request_max_body_size=LARGEST_FILE + _ENVELOPE,
        opt=of_limits("Adopt a rulebook of the plant's own", "adopt"),
    )
    async def adopt(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Take a file; what is wrong with it is shown with its line."""
        raw = b""
        try:
            raw, key = await _sent(request)
            book, account = parts_of(request).book, account_of(request)
            adoption, waiting = await asyncio.to_thread(book.adopt, rulebook_adoption, raw, key, account)
            entered = await parts_of(request).entered(waiting)
        except LedgerError as error:
            problem = problem_of(error, RULEBOOKS).problem
            return await _page(request, problem=problem, lines=wrong_lines(raw, error.where))
        return see_other(address_of(RULEBOOKS, {"adopted": adoption.id, "entry": str(entered.index)}))

    @get(f"{RULEBOOKS}/{{name:str}}", opt=of_limits("One rulebook, limit by limit", "look-up"))
    async def one(self, request: Request[Any, Any, Any], name: FromPath[str]) -> Response[bytes]:
        """Every limit with its scope, dates, decision rule and provenance."""
        row = await asyncio.to_thread(_one, parts_of(request).book.store, name)
        requirements = [requirement_seen(one) for one in row.file.rulebook.requirements]
        return limits_page(request, "rulebook.html", row=row, requirements=requirements)

    @get(DIFFERENCE, opt=of_limits("What one rulebook has otherwise than another", "look-up"))
    async def difference(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The differences in words."""
        typed = typed_in(request)
        store = parts_of(request).book.store
        one, two, found = await asyncio.to_thread(_difference, store, typed.get("one", ""), typed.get("two", ""))
        rows = await asyncio.to_thread(edition_rows, store)
        return limits_page(request, "difference.html", one=one, two=two, found=found, rows=rows, typed=typed)


def requirement_seen(one: Requirement) -> RequirementSeen:
    """A requirement as its page shows it."""
    return RequirementSeen(
        requirement=one,
        words=f"{quantity_words(one)} {one.limit_text}",
        scope=scope_words(one.scope),
        per=per_words(one),
        effect=effect_words(one),
        decision=decision_words(one),
        method=method_words(one.method),
    )


def edition_rows(store: Store) -> list[EditionRow]:
    """Every edition at hand: adopted ones first, superseded ones of the plant's last."""
    with open_reader(store) as reader:
        here = rulebooks_here(reader)
    named = {file.digest for file in here.editions}
    rows = [_row(file, here.adopted, current=file.digest in named) for file in here.shelf.editions]
    return sorted(rows, key=lambda row: (not row.current, not row.edition.adopted, row.edition.id))


def _row(file: RulebookFile, adopted: Mapping[str, str], *, current: bool) -> EditionRow:
    requirements = file.rulebook.requirements
    return EditionRow(
        edition=edition_of(file, adopted),
        file=file,
        ships=file.rulebook.id in shipped_rulebooks(),
        current=current,
        provenances=Counter(one.provenance for one in requirements),
        effects=Counter(one.effect for one in requirements),
    )


def _one(store: Store, name: str) -> EditionRow:
    with open_reader(store) as reader:
        here = rulebooks_here(reader)
        file = here.find(name)
    return _row(file, here.adopted, current=file in here.editions)


def _difference(store: Store, one: str, two: str) -> tuple[RulebookFile, RulebookFile, tuple[Difference, ...]]:
    with open_reader(store) as reader:
        earlier, later = find_rulebook(reader, one), find_rulebook(reader, two)
    return earlier, later, differences(earlier.rulebook, later.rulebook)


async def _page(
    request: Request[Any, Any, Any], *, problem: Problem | None = None, lines: tuple[WrongLine, ...] = ()
) -> Response[bytes]:
    typed = typed_in(request)
    return limits_page(
        request,
        "rulebooks.html",
        status=200 if problem is None else problem.status,
        rows=await asyncio.to_thread(edition_rows, parts_of(request).book.store),
        may_adopt=may_do(request, "adopt"),
        problem=problem,
        lines=lines,
        typed=typed,
        key=secrets.token_urlsafe(16),
    )


async def _sent(request: Request[Any, Any, Any]) -> tuple[bytes, str]:
    """The file and the key of a form. Raises MalformedInput without them."""
    form = await request.form()
    file, key = form.get("file"), form.get("key")
    if not isinstance(file, UploadFile) or not file.filename:
        raise MalformedInput("no file was chosen", where="file", mend="choose the TOML file of the rulebook")
    if not isinstance(key, str) or not re.fullmatch(r"[A-Za-z0-9_-]{1,100}", key):
        raise MalformedInput("form has no key", where="key", mend="open the page again")
    return await file.read(), key


def wrong_lines(raw: bytes, where: str) -> tuple[WrongLine, ...]:
    """The line that a refusal names, with those around it; none where it names none."""
    named = re.search(r" line (\d+)$", where)
    if named is None:
        return ()
    lines, wrong = raw.decode("utf-8", "replace").splitlines(), int(named[1])
    first = max(1, wrong - AROUND)
    return tuple(
        WrongLine(number, lines[number - 1][:200], number == wrong)
        for number in range(first, min(len(lines), wrong + AROUND) + 1)
    )
