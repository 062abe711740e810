"""The words of the stations: steps, changes, losses and reasons of the line. Rows of `api.pages.words.WORDS`."""

from __future__ import annotations

from api.pages.catalogue import N_

STEP_WORDS: dict[str, str] = {
    "cleaned": N_("cleaned"),
    "rested": N_("rested"),
    "trimmed": N_("trimmed"),
    "tumbled": N_("tumbled"),
    "hole-drilled": N_("locating hole drilled"),
    "pin-filled": N_("pin filled"),
    "turned": N_("turned"),
    "sanded": N_("sanded"),
    "polished": N_("polished"),
    "finished": N_("finished"),
    "started": N_("started on the lathe"),
    "spin-tested": N_("spin-tested"),
    "cg-marked": N_("CG mark set"),
    "pin-marked": N_("pin marked"),
}

CHANGE_WORDS: dict[str, str] = {
    "line": N_("line"),
    "mould-set": N_("mould set"),
    "mixer": N_("mixer"),
    "shift": N_("shift"),
    "setting": N_("setting"),
}

LOSS_WAY_WORDS: dict[str, str] = {
    "scrap": N_("scrap"),
    "destructive-test": N_("destructive test"),
    "retained": N_("retained sample"),
    "other": N_("other"),
}

LINE_REASON_WORDS: dict[str, str] = {
    "crack": N_("crack"),
    "void": N_("void"),
    "chip": N_("chip"),
    "short-pour": N_("short pour"),
    "off-centre": N_("off centre"),
    "colour": N_("colour"),
    "dropped": N_("dropped"),
    "machine": N_("machine"),
    "test": N_("test"),
    "counted": N_("counted again"),
    "found": N_("pieces found"),
    "missing": N_("pieces missing"),
    "weighed": N_("weighed again"),
    "typing-mistake": N_("typing mistake"),
    "wrong-lot": N_("wrong lot"),
    "wrong-count": N_("wrong count"),
    "said-twice": N_("said twice"),
    "not-done": N_("was not done"),
    "wrong-ball": N_("wrong ball"),
    "wrong-gauge": N_("wrong gauge"),
    "gauge-slipped": N_("the gauge slipped"),
    "other": N_("other"),
}
