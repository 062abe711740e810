"""The words of a ball's and a lot's pages; part of the table of `api.pages.words`."""

from __future__ import annotations

from api.pages.catalogue import N_

BALL_WORDS: dict[str, dict[str, str]] = {
    "window": {
        "block-demould": N_("in the block mould"),
        "block-rest": N_("rest of the blocks"),
        "core-demould": N_("in the core mould"),
        "core-rest": N_("rest of the cores"),
        "shell-demould": N_("in the shell mould"),
        "final-cure": N_("final cure"),
    },
    "became": {
        "stands": N_("stands"),
        "replaced": N_("replaced by a later reading"),
        "voided": N_("voided by later work on the ball"),
        "withdrawn": N_("taken back"),
    },
    "operation": {
        "resurface": N_("resurface"),
        "polish": N_("polish"),
        "re-turn": N_("turn again"),
        "plug": N_("plug"),
        "re-pour": N_("pour again"),
    },
    "end": {
        "scrap": N_("scrapped"),
        "destructive-test": N_("tested to destruction"),
        "retained": N_("retained"),
    },
    "decision rule": {
        "simple": N_("simple acceptance"),
        "guarded": N_("guarded acceptance"),
        "three_way": N_("rule of three outcomes"),
    },
    "statistic": {
        "single": N_("single reading"),
        "mean": N_("mean"),
        "median": N_("median"),
        "range": N_("range"),
    },
    "part": {
        "material": N_("as material"),
        "compound": N_("as compound"),
        "block": N_("as block"),
        "core": N_("as core"),
        "colour": N_("as shell colour"),
        "split": N_("split off"),
        "merge": N_("merged"),
    },
    "direction": {
        "up": N_("what it is made from"),
        "down": N_("where it went"),
        "both": N_("both ways"),
    },
}  # fmt: skip
"""Sort of word, then code, to the English that is looked up."""
