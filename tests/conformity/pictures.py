"""Reads a picture back: its words, its text and its marks."""

from __future__ import annotations

from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


def read_back(svg: str) -> ElementTree.Element:
    """The root of a picture that is whole in itself: nothing in it is run or fetched, or this fails."""
    root = ElementTree.fromstring(svg)  # noqa: S314  # our own text
    for mark in root.iter():
        assert mark.tag in {f"{SVG}{name}" for name in DRAWN}
        for name, value in mark.attrib.items():
            assert "href" not in name
            assert not name.startswith("on")
            assert "://" not in value
            assert "url(" not in value or "url(#" in value
    return root


DRAWN = ("svg", "title", "desc", "rect", "text", "path", "circle", "defs", "pattern")


def words_of(root: ElementTree.Element, name: str) -> list[str]:
    """The text of every mark of that name."""
    return [mark.text or "" for mark in root.iter(f"{SVG}{name}")]


def inside(root: ElementTree.Element) -> bool:
    """Whether every text, circle and rectangle begins on the picture."""
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    places = [
        (float(mark.attrib.get("x", mark.attrib.get("cx", 0))), float(mark.attrib.get("y", mark.attrib.get("cy", 0))))
        for name in ("text", "circle", "rect")
        for mark in root.iter(f"{SVG}{name}")
    ]
    return all(0 <= x <= width and 0 <= y <= height for x, y in places)
