"""The picture of a trace: boxes that lead on, lines with their quantities, solid where certain and dashed where possible."""

from __future__ import annotations

from urllib.parse import quote

import drawsvg
from markupsafe import Markup

from api.pages.catalogue import Catalogue
from api.pages.lots.inline_svg import Hyperlink, box, drawing, inlined, text
from api.pages.lots.trace_cut import Cut, Node
from api.pages.lots.trace_layout import LEAD, MARGIN, PITCH, WIDTH, Drawn, Layout, Place, lay_out
from api.pages.words import english_word

_BEND = 46.0


def trace_picture(cut: Cut, focus: str, words: Catalogue, *, title: str, walk: str = "/trace/") -> Markup:
    """The boxes and lines of a trace; each box leads to ``walk`` and the lot's id, but for ``focus``, which is here."""
    layout = lay_out(cut)
    picture = drawing(layout.width, layout.height, title, "trace", walked=True)
    for number, stage in enumerate(cut.heads):
        head = words.gettext(english_word("stage", stage))
        picture.append(text(head, 12, MARGIN + number * PITCH, 18, "head"))
    for one in layout.lines:
        picture.append(_line(one))
    for one in layout.lines:
        picture.append(_amount(one, words))
    for node in cut.nodes:
        picture.append(_node(node, layout, focus, words, walk))
    return inlined(picture)


def amount_words(amount: int, words: Catalogue, *, by_weight: bool) -> str:
    """Grams as kilograms, pieces as they are."""
    if by_weight:
        return words.gettext("%(kg)s kg") % {"kg": words.number(amount / 1000)}
    return words.number(amount)


def _line(drawn: Drawn) -> drawsvg.Path:
    path = drawsvg.Path(class_="line certain" if drawn.link.certain else "line possible")
    (x, y), *rest = drawn.points
    path.M(round(x, 1), round(y, 1))
    for to_x, to_y in rest:
        # Every line is straight before it comes to a column, so that none crosses an amount there.
        end = to_x - LEAD if to_x > x + LEAD else to_x
        bend = (end - x) / 2 if end > x else -_BEND
        path.C(round(x + bend, 1), round(y, 1), round(end - bend, 1), round(to_y, 1), round(end, 1), round(to_y, 1))
        if end != to_x:
            path.H(round(to_x, 1))
        x, y = to_x, to_y
    return path


def _amount(drawn: Drawn, words: Catalogue) -> drawsvg.Text:
    x, y = drawn.points[-1]
    said = amount_words(drawn.link.amount, words, by_weight=drawn.link.by_weight)
    return text(said, 11, x - 5, y - 3, "amount", anchor="end")


def _node(node: Node, layout: Layout, focus: str, words: Catalogue, walk: str) -> drawsvg.DrawingParentElement:
    place = layout.places[node.key]
    if node.lot is None:
        return _more(node, place, words)
    one = node.lot
    name = f"{one.lot}, {_what(node, words)}, {words.gettext(english_word('certainty', one.certainty))}"
    held = words.gettext("on hold") if one.open_holds else ""
    css = f"lot {one.certainty}{' here' if one.lot == focus else ''}{' held' if held else ''}"
    group = (
        drawsvg.Group(class_=css)
        if one.lot == focus
        else Hyperlink(f"{walk}{quote(one.lot)}", f"{name}{', ' + held if held else ''}", class_=css)
    )
    group.append(box(place.x, place.y, width=WIDTH, height=place.height, css="box", rx=3))
    top = place.middle - 9
    group.append(text(one.lot, 13, place.x + 8, top, "name"))
    group.append(text(_short(_what(node, words), 22), 11, place.x + 8, top + 14, "what"))
    last = words.gettext(english_word("certainty", one.certainty))
    group.append(text(f"{last} · {held}" if held else last, 11, place.x + 8, top + 27, "what"))
    return group


def _what(node: Node, words: Catalogue) -> str:
    """What a lot is, in a word or two."""
    one = node.lot
    if one is None:
        return ""
    if one.by_weight:
        return one.material or words.gettext(english_word("stage", one.stage))
    return words.gettext("%(made)s made, %(left)s left") % {
        "made": words.number(one.made),
        "left": words.number(one.left),
    }


def _more(node: Node, place: Place, words: Catalogue) -> drawsvg.Group:
    group = drawsvg.Group(class_="lot more")
    group.append(box(place.x, place.y, width=WIDTH, height=place.height, css="box", rx=3))
    said = words.ngettext("and %(n)s more lot", "and %(n)s more lots", node.hidden) % {"n": words.number(node.hidden)}
    group.append(text(said, 12, place.x + 8, place.middle + 4, "name"))
    return group


def _short(said: str, most: int) -> str:
    return said if len(said) <= most else said[: most - 1] + "…"
