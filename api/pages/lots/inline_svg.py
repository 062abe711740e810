"""SVG that stands in a page: classes in place of styles, names for readers of a screen, links that can be followed.

The library escapes what is between tags, and nothing in attributes: every attribute that is not a number goes through here.
"""

from __future__ import annotations

from html import escape
from typing import Any

import drawsvg
from markupsafe import Markup


class Hyperlink(drawsvg.DrawingParentElement):  # type: ignore[misc]  # the library has no types
    """A link in a picture."""

    TAG_NAME = "a"

    def __init__(self, address: str, name: str, **attributes: Any) -> None:
        """``name``: what a reader of a screen says."""
        super().__init__(href=escape(address), aria_label=escape(name), **attributes)


def drawing(width: float, height: float, title: str, css: str, *, walked: bool = False) -> drawsvg.Drawing:
    """An empty picture with its name; ``walked``: with links in it, which an image may not have."""
    role = "group" if walked else "img"
    found = drawsvg.Drawing(
        round(width), round(height), class_=escape(css), role=role, aria_label=escape(title), focusable="false"
    )
    found.append_title(title)
    return found


def inlined(picture: drawsvg.Drawing) -> Markup:
    """A picture as part of a page."""
    text: str = picture.as_svg(header="")
    return Markup(text.replace("\n<defs>\n</defs>", ""))  # noqa: S704  # content is escaped by the library, attributes here


def text(content: str, size: float, x: float, y: float, css: str, *, anchor: str = "start") -> drawsvg.Text:
    """Text on a base line."""
    return drawsvg.Text(content, size, round(x, 1), round(y, 1), class_=css, text_anchor=anchor)


def line(x1: float, y1: float, x2: float, y2: float, css: str) -> drawsvg.Line:
    """A straight line."""
    return drawsvg.Line(round(x1, 1), round(y1, 1), round(x2, 1), round(y2, 1), class_=css)


def box(x: float, y: float, *, width: float, height: float, css: str, rx: float = 0) -> drawsvg.Rectangle:
    """A rectangle, its corners rounded by ``rx``."""
    rounded = {"rx": rx} if rx else {}
    return drawsvg.Rectangle(round(x, 1), round(y, 1), round(max(width, 0), 1), round(height, 1), class_=css, **rounded)
