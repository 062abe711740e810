"""The logical structure of a report: which content is a heading, a paragraph, a table's cell or a picture with its text.

Tagged PDF (ISO 32000-1, 14.7 and 14.8; clauses from memory).  fpdf2 tags pictures alone and keeps its elements in one flat
list; this tree has parts in parts, counts marked contents by page, and leaves the writing of the objects to fpdf2.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fpdf import FPDF
from fpdf.structure_tree import StructElem, StructureTreeBuilder
from fpdf.syntax import PDFObject, PDFString


class Part(StructElem):
    """An element inside another: it lies on the same page."""

    @property
    def pg(self) -> Any:
        """The page of the element around it."""
        return self.p.pg  # type: ignore[attr-defined]  # fpdf2 names no type that has it

    @pg.setter
    def pg(self, _page: object) -> None:
        """Nothing: fpdf2 sets it to None when an element is made."""


class Structure(StructureTreeBuilder):
    """The tree of a document. What it is told lies on the page that is being written."""

    def __init__(self, pdf: FPDF) -> None:
        """An empty tree, which becomes the document's own."""
        super().__init__()
        self._pdf = pdf
        self._marked: Counter[int] = Counter()
        pdf.struct_builder = self

    def group(self, role: str, parent: StructElem | None = None) -> StructElem:
        """An element that holds others, as a Table or a TR; on one page."""
        page = self._pdf.page
        if parent is not None:
            part: StructElem = Part(f"/{role}", parent, [], page)
            parent.k.append(part)
            return part
        part = StructElem(f"/{role}", self.doc_struct_elem, [], page)
        self.doc_struct_elem.k.append(part)
        return part

    @contextmanager
    def content(self, role: str, parent: StructElem | None = None, *, alt: str | None = None) -> Iterator[None]:
        """What is written inside is content of a new element; ``alt`` says it in words. It must stay on one page."""
        page = self._pdf.page
        number = self._marked[page]
        self._marked[page] += 1
        part = self.group(role, parent)
        part.k.append(number)
        if alt is not None:
            part.alt = PDFString(alt)
        spid = self.spid_per_page_number.setdefault(page, len(self.spid_per_page_number))
        self._pdf.pages[page].struct_parents = spid
        self.struct_tree_root.parent_tree.nums[spid].append(part)
        self._write(f"/{role} <</MCID {number}>> BDC")
        yield
        self._write("EMC")

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is written inside is no content: rules, running heads and feet."""
        self._write("/Artifact BMC")
        yield
        self._write("EMC")

    def _write(self, operator: str) -> None:
        self._pdf._out(operator)  # noqa: SLF001  # fpdf2 has no public way to mark content

    def __iter__(self) -> Iterator[PDFObject]:
        """Every object of the tree, its root first, as fpdf2 asks when it writes."""
        yield self.struct_tree_root
        yield self.doc_struct_elem
        yield self.struct_tree_root.parent_tree
        waiting = [*reversed(self.doc_struct_elem.k)]
        while waiting:
            part = waiting.pop()
            yield part
            waiting.extend(kid for kid in reversed(part.k) if isinstance(kid, StructElem))
