"""The approval files of the plant: one with all that led to its answer, and one that waits, as the service tells them."""

from __future__ import annotations

from typing import Any

from fixtures_demo.approvals import CLERK, DONE, WAITING
from ops.demo_walk.client import Client
from ops.demo_walk.screen import Screen

SHOWN = 1
"""Sentences of what is missing that are printed of a file beside the first."""


def show_approvals(client: Client, screen: Screen) -> None:
    """A few lines of each file; every figure comes from the service."""
    done, waiting = (client.get(f"/approvals/{file}", CLERK) for file in (DONE, WAITING))
    page = done["page"]
    screen.say(DONE, f"{_what(page)}: {done['approval']['said']}")
    for line in page["announcements"]:
        drawn = ", ".join(
            f"{one['balls']} of {one['candidates']} balls of {one['weight_class']} lb" for one in line["classes"]
        )
        screen.say("- drawn", f"{drawn}, by the seed that the announcement's own entry gave ({line['seed'][:16]}...)")
    replaced = [one for one in page["samples"] if one["state"] == "replaced"]
    if replaced:
        screen.say(
            "", f"{replaced[0]['unit']} {replaced[0]['reason']}: {replaced[0]['instead']} came next; both stay on file"
        )
    freeze = page["freezes"][-1]
    signed = sum(one["freeze"] == freeze["fact"] for one in page["signatures"])
    screen.say(
        "- signed", f"SHA-256 {freeze['document'][:16]}..., by {signed} people who had not frozen it, then handed over"
    )
    screen.say("- answered", f"{page['replies'][-1]['answer']} by {page['body']}, an invented body")
    for change in done["changes"]:
        screen.say("- to be reported", f"{change['said']}, found by the book itself")
    screen.say(WAITING, f"{_what(waiting['page'])}: {waiting['approval']['said']}")
    missing = [said for item in waiting["page"]["items"] for said in item.get("missing", ())]
    for said in missing[1 : 1 + SHOWN]:
        screen.say("", said)


def _what(page: dict[str, Any]) -> str:
    return f"model {page['model']} at revision {page['revision']}, for {page['body']}"
