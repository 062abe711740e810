"""The few marks that a picture is made of, as SVG text, and the frame that makes it whole in itself.

No script, no style sheet, no font file and no address but the name of the format.  Coordinates have two decimals, so the
same figures give the same bytes.  Text is escaped, and characters that XML does not allow become a question mark.
Source: W3C, Scalable Vector Graphics 1.1 (second edition); XML 1.0, 2.2 for the characters.
"""

from __future__ import annotations

import html
import math
import re
import zlib
from collections.abc import Sequence

INK, SOFT, FAINT, MARK, PAPER, BAND = "#17252e", "#50616c", "#d9e0e4", "#9c3a12", "#ffffff", "#f1f4f6"
"""Dark on white throughout; MARK differs from INK in lightness too, and never stands for anything alone."""

TITLE = 62
"""Characters of a title that fit on a picture; the whole stands in its words."""

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escape(content: str) -> str:
    """Text as XML takes it, in content and in attributes."""
    return html.escape(_NOT_XML.sub("?", content))


def shorten(content: str, most: int) -> str:
    """At most so many characters, the last a mark of what was cut."""
    return content if len(content) <= most else content[: most - 1] + "…"


def at(value: float) -> str:
    """A coordinate, to two decimals, without a negative zero."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def show(value: float, places: int) -> str:
    """A figure with so many decimals, without a negative zero."""
    return f"{round(value, places) + 0.0:.{places}f}"


def text(
    x: float, y: float, content: str, *, size: float = 12, anchor: str = "start", bold: bool = False, fill: str = INK
) -> str:
    """Text on a base line; ``anchor``: start, middle or end."""
    weight = ' font-weight="bold"' if bold else ""
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{at(x)}" y="{at(y)}" font-size="{at(size)}"{place}{weight} fill="{fill}">{escape(content)}</text>'


def label(x: float, y: float, content: str, *, anchor: str = "middle", fill: str = INK) -> str:
    """Bold text with a rim of paper, to be read on top of lines."""
    place = f'x="{at(x)}" y="{at(y)}" font-size="12" font-weight="bold" text-anchor="{anchor}"'
    rim = f'<text {place} stroke="{PAPER}" stroke-width="4" stroke-linejoin="round" aria-hidden="true">{escape(content)}</text>'
    return f'{rim}<text {place} fill="{fill}">{escape(content)}</text>'


def line(points: Sequence[tuple[float, float]], *, stroke: str = INK, width: float = 1, dash: str = "") -> str:
    """A line through points."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    path = "M" + "L".join(f"{at(x)} {at(y)}" for x, y in points)
    return f'<path d="{path}" fill="none" stroke="{stroke}" stroke-width="{at(width)}"{dashed}/>'


def dot(x: float, y: float, radius: float, said: str) -> str:
    """A round point with its tooltip."""
    return f'<circle cx="{at(x)}" cy="{at(y)}" r="{at(radius)}" fill="{INK}"><title>{escape(said)}</title></circle>'


def diamond(x: float, y: float, radius: float, said: str) -> str:
    """A point that signals: a hollow diamond with its tooltip."""
    path = f"M{at(x)} {at(y - radius)}L{at(x + radius)} {at(y)}L{at(x)} {at(y + radius)}L{at(x - radius)} {at(y)}Z"
    return f'<path d="{path}" fill="{PAPER}" stroke="{MARK}" stroke-width="2"><title>{escape(said)}</title></path>'


def bar(x: float, y: float, *, width: float, height: float, fill: str, stroke: str = "none", said: str = "") -> str:
    """A filled rectangle, with a tooltip if there is something to say."""
    size = f'x="{at(x)}" y="{at(y)}" width="{at(width)}" height="{at(height)}"'
    tooltip = f"<title>{escape(said)}</title>" if said else ""
    return f'<rect {size} fill="{fill}" stroke="{stroke}">{tooltip}</rect>'


def ticks(low: float, high: float, about: int) -> tuple[tuple[float, ...], int]:
    """Ticks at 1, 2 or 5 times a power of ten from ``low`` to ``high``, some ``about`` of them, and their decimals."""
    rough = (high - low) / about
    if not (rough > 0 and math.isfinite(rough)):
        return (low,), 3
    power = math.floor(math.log10(rough))
    step, power = next(
        (nice, power + (nice == 10)) for nice in (1, 2, 5, 10) if nice * 10.0**power >= rough * (1 - 1e-9)
    )
    places = max(0, -power)
    # Whole multiples of a decimal step, so that a tick is never the last bit beside what it says.
    scale = 10.0**places
    size = round((1 if step == 10 else step) * 10.0**power * scale)
    first, last = math.ceil(low * scale / size - 1e-9), math.floor(high * scale / size + 1e-9)
    return tuple(size * number / scale for number in range(first, last + 1)), places


def spaced(wanted: Sequence[float], least: float) -> list[float]:
    """The positions, in their order, moved apart so that neighbours are at least so far from each other."""
    order = sorted(range(len(wanted)), key=lambda one: wanted[one])
    placed = [wanted[one] for one in order]
    for _ in range(200):  # each pass leaves less of the shortage; a picture has three names, seldom six
        for here in range(1, len(placed)):
            short = least - (placed[here] - placed[here - 1])
            if short > 0:
                placed[here - 1] -= short / 2
                placed[here] += short / 2
    where = dict(zip(order, placed, strict=True))
    return [where[one] for one in range(len(wanted))]


def picture(parts: Sequence[str], width: float, height: float, title: str, words: str) -> str:
    """The whole picture; ``title`` and ``words`` come first, for readers of a screen.

    Their ids are made from the content, so that two pictures on one page do not name each other's.
    """
    body = "\n".join(parts)
    tag = f"{zlib.crc32(f'{title}{words}{body}'.encode('utf-8', 'replace')):08x}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{at(width)}" height="{at(height)}" '
        f'viewBox="0 0 {at(width)} {at(height)}" role="img" aria-labelledby="t{tag} d{tag}" font-family="sans-serif">\n'
        f'<title id="t{tag}">{escape(title)}</title>\n<desc id="d{tag}">{escape(words)}</desc>\n'
        f'<rect width="{at(width)}" height="{at(height)}" fill="{PAPER}"/>\n{body}\n</svg>\n'
    )
