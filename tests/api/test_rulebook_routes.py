"""The rulebooks over HTTP: every field of every limit, and two editions side by side."""

from __future__ import annotations

from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import CAUTION
from tests.api.running import Service


def test_rulebooks_show_what_their_limits_say(service: Service) -> None:
    """Scope, what is held, effect, method and definition are all there, as the file has them."""
    shown = {one["id"]: one for one in service["station"].get("/rulebooks").json()["rulebooks"]}
    assert set(shipped_rulebooks()) == set(shown)
    limits = {limit["id"]: limit for limit in shown["usbc-2026"]["requirements"]}
    assert "engraving" == shown["usbc-2026"]["made_event"]
    assert ["21.1", "25.0"] == limits["usbc.hardness"]["method"]["temperature_c"]
    assert ("lot_mean", "model", "component") == tuple(
        limits[id]["per"] for id in ("usbc.roughness-mean", "usbc.friction", "usbc.component-density")
    )
    assert ("bar", "trigger") == tuple(
        limits[id]["effect"] for id in ("usbc.hardness-national-events", "usbc.roughness-more-samples")
    )
    assert ("unstated", True) == (
        limits["usbc.static-top"]["definition"],
        limits["usbc.static-top"]["scope"]["min_class_strict"],
    )


def test_two_editions_are_told_apart_in_words(service: Service) -> None:
    """The answer names both files by digest and says each difference in a sentence."""
    answer = service["auditor"].get("/rulebooks/usbc-2019/diff/usbc-2026").json()
    shipped = shipped_rulebooks()
    assert (shipped["usbc-2019"].digest, shipped["usbc-2026"].digest) == (answer["one"], answer["two"])
    (added,) = (
        one for one in answer["differences"] if (one["change"], one["requirement"]) == ("added", "usbc.hardness")
    )
    assert "hardness >= 73 Shore D" in added["sentence"]
    assert CAUTION == answer["caution"]


def test_an_unknown_edition_is_not_found(service: Service) -> None:
    """Either name must be known; without an account neither is told."""
    for path in ("/rulebooks/usbc-2019/diff/nobody", "/rulebooks/nobody/diff/usbc-2019"):
        assert 404 == service["quality"].get(path).status_code
    assert 401 == service.nobody.get("/rulebooks/usbc-2019/diff/usbc-2026").status_code
