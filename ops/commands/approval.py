"""`pourbook approval`: the approval files of a book, or one of them: what is missing, in the way, drawn, signed, changed.

`list` has a line a file; `show` says the rest of one.  Nothing is entered: steps are taken through the service.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from ledger.application.approval_files import CAUTION, ApprovalSeen, ApprovalView, approval_view, approvals_of
from ledger.evidence.approval_sheet import AnnouncementLine, ApprovalPage
from ops.collector import settle_collector
from ops.reading_store import add_store, reading_store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the two questions and what each takes."""
    questions = parser.add_subparsers(dest="question", required=True, metavar="list|show")
    add_store(questions.add_parser("list", help="every approval file, those worked on first"))
    asked = questions.add_parser("show", help="one approval file")
    asked.add_argument("file", help="id of the approval file")
    add_store(asked)


def run(arguments: argparse.Namespace) -> int:
    """Print the answer; 0, or an error of `ledger.errors`."""
    settle_collector()
    with reading_store(arguments) as reader:
        if arguments.question == "list":
            lines = [approval_line(seen) for seen in approvals_of(reader)] or ["no approval file was opened"]
        else:
            lines = list(view_lines(approval_view(reader, arguments.file)))
    print("\n".join(lines))
    return 0


def approval_line(seen: ApprovalSeen) -> str:
    """One file in a line."""
    what = f"{seen.model} revision {seen.revision}, {', '.join(map(str, seen.classes))} lb, for {seen.body}"
    answer = f", {seen.answer}" if seen.answer else ""
    due = f"  {seen.unreported} changes to report" if seen.unreported else ""
    return f"{seen.file}  {seen.state}{answer}  {what}  {seen.said}{due}"


def view_lines(view: ApprovalView) -> Iterator[str]:
    """One file for a report."""
    page = view.page
    yield approval_line(view.approval)
    yield f"by {view.rulebook or 'an edition whose file is not here'}, gathered by {page.checklist_id}"
    yield ""
    for item in page.items:
        mark = "met" if item.met else "OPEN"
        yield f"  {mark:<5}{item.item}: {item.text}" + ("" if item.applies else " (does not apply)")
        yield from (f"         {missing}" for missing in item.missing)
    yield ""
    yield from draw_lines(view)
    yield from (
        f"  {ball.unit} {ball.serial or ''} {ball.state}: {ball.outcome or 'not judged'}" for ball in view.balls
    )
    for line in page.samples:
        if line.state != "in":
            instead = f", {line.instead} instead" if isinstance(line.instead, str) else ""
            yield f"  {line.unit} {line.state.replace('-', ' ')} ({line.reason}){instead}, fact {line.out}"
    yield from signed_lines(page)
    for change in view.changes:
        told = f"reported by fact {change.reported_by}" if change.reported_by else "TO BE REPORTED"
        yield f"  change: {change.said}: {told if page.hand_overs else 'since the freeze'}"
    yield ""
    for way in view.ways:
        if not way.may and way.step in {"announce", "freeze", "sign", "hand-over"}:
            yield f"  {way.step}: not now, {'; '.join(way.in_the_way)}"
    yield CAUTION


def draw_lines(view: ApprovalView) -> Iterator[str]:
    """How the samples came about."""
    for line, seen in zip(view.page.announcements, view.draws, strict=True):
        when = f"fact {line.fact}, {seen.announced_at[:16]}, out of {seen.lots} of {seen.lots_then} lots"
        yield f"  announced by {when}: {_wanted(line)}"
        others = f"cosigned at size {seen.published_size} by {seen.published_at[:16]}" if seen.published_at else ""
        stamped = f"time stamp {seen.stamped_at[:16]}" if seen.stamped_at else ""
        told = ", ".join(one for one in (others, stamped) if one) or "no witness has seen it"
        drawn = f"drawn by fact {line.drawn}" if isinstance(line.drawn, str) else "NOT DRAWN"
        yield f"    {drawn}; {told}"


def _wanted(line: AnnouncementLine) -> str:
    return ", ".join(f"{one.balls} of {one.candidates} balls of {one.weight_class} lb" for one in line.classes)


def signed_lines(page: ApprovalPage) -> Iterator[str]:
    """What was frozen, signed, sent and answered."""
    for freeze in page.freezes:
        stands = "" if freeze.fact == page.frozen else " (counts no more)"
        left = f", left open: {', '.join(freeze.left_open)}" if freeze.left_open else ""
        yield f"  frozen by fact {freeze.fact}{stands}: SHA-256 {freeze.document}{left}"
        yield from (
            f"    signed by account {signature.by}, fact {signature.fact}"
            for signature in page.signatures
            if signature.freeze == freeze.fact
        )
    yield from (f"  handed over by fact {sent.fact}: dossier {sent.dossier}" for sent in page.hand_overs)
    for reply in page.replies:
        entered = f", entered by fact {reply.entered}" if isinstance(reply.entered, str) else ""
        yield f"  answered: {reply.answer}, fact {reply.fact}{entered}"
