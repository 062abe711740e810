"""The traveller: the card that goes with a rack of one lot, as PDF (A5) and its QR symbol as PNG.

The symbol holds the lot's own address: ``https://<host>/lot/{lot}``, or the GS1 lot address where the model has a
GTIN.  The card names the lot in large text, its stage, model, count and start, and the usual cautions of the stage.

The cautions are common practice, no source; they remind, and replace neither safety data sheet nor training.
"""

from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote

from api.labels.ball_label import captioned_png, check_lines
from api.labels.qr import decode_check, qr_matrix
from api.labels.sheet import cropped, draw_fitted, draw_symbol, new_pdf, rendered_pages
from ledger.errors import LabelUnreadable, MalformedInput

DEFERS = "Safety data sheets, local codes and licensed practice come first."

CAUTIONS = {
    "material": "Drums hold isocyanates, polyols, styrene or organic peroxides: keep apart, closed, away from heat.",
    "batch": "Styrene vapour and isocyanates: ventilate, wear gloves and eye protection. Organic peroxides: never mix "
    "a peroxide directly with an accelerator. A large mix can run away with its own heat (exotherm).",
    "block": "Styrene vapour and organic peroxides while it cures; blocks are hot (exotherm). Cleaning makes dust.",
    "core": "Styrene vapour and organic peroxides at the pour; exotherm. Trimming and tumbling: dust, rotating machines.",
    "shell": "Isocyanates at the pour: ventilate, no skin contact; exotherm in the mould. Drilling, turning and "
    "polishing: dust, rotating machines, no loose sleeves or gloves.",
    "engraving": "Laser light and fumes: guard closed, extraction on. A cutter is a rotating machine; dust.",
    "spin test": "Rotating machines: guard closed, ball seated, keep hands clear until it stands.",
}
"""The usual cautions by stage of a lot or step."""

_ANY_STAGE = (
    "Styrene, isocyanates, organic peroxides, exotherm, dust, rotating machines, laser light and fumes: know which "
    "of them this step brings."
)
_WIDTH, _HEIGHT, _MARGIN = 148.0, 210.0, 10.0  # A5, millimetres
_SYMBOL_MM, _TOP = 76.0, 44.0
_MOST_FACTS = 3


@dataclass(frozen=True, slots=True)
class Traveller:
    """What a traveller says; ``facts`` are up to three further (name, value), ``began`` is an instant with offset.

    Raises MalformedInput for text that cannot be printed on one line, or too many facts.
    """

    link: str
    lot: str
    stage: str
    model: str | None
    count: int
    began: str
    facts: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        """Check that each text can be printed on one line, and that the facts fit above the cautions."""
        if len(self.facts) > _MOST_FACTS:
            raise MalformedInput("traveller has too many facts", expected=f"at most {_MOST_FACTS}", got=len(self.facts))
        for text in (
            self.lot,
            self.stage,
            self.began,
            self.model or "-",
            *(f"{a}{b}" for a, b in self.facts),
        ):
            check_lines((text,))


def lot_address(stem: str, lot: str) -> str:
    """Give the lot's own address under an ``http`` or ``https`` stem, or a host (then https)."""
    base = stem if "://" in stem else f"https://{stem}"
    return f"{base.rstrip('/')}/lot/{quote(lot, safe='')}"


def caution(stage: str) -> str:
    """Give the cautions of a stage, those of every stage for one that has no text, and what they defer to."""
    return f"{CAUTIONS.get(stage, _ANY_STAGE)} {DEFERS}"


def traveller_pdf(traveller: Traveller, *, created: datetime) -> bytes:
    """Give the card as PDF on A5, its symbol decoded from the rendered page.

    Raises MalformedLink, TooLarge, MalformedInstant for a creation date without offset, LabelUnreadable.
    """
    matrix = qr_matrix(traveller.link)
    module = _SYMBOL_MM / len(matrix)
    corner = ((_WIDTH - _SYMBOL_MM) / 2, _TOP)
    pdf = new_pdf((_WIDTH, _HEIGHT), created, title=f"Traveller {traveller.lot}")
    pdf.add_page()
    wide = _WIDTH - 2 * _MARGIN
    pdf.set_font("Helvetica", "", 12)
    draw_fitted(pdf, f"Traveller: {traveller.stage} lot", (_MARGIN, 10, wide, 8))
    pdf.set_font("Courier", "B", 48)
    draw_fitted(pdf, traveller.lot, (_MARGIN, 20, wide, 20))
    draw_symbol(pdf, matrix, corner, module)
    pdf.set_font("Courier", "", 8)
    draw_fitted(pdf, traveller.link, (_MARGIN, _TOP + _SYMBOL_MM, wide, 4))
    facts = (
        ("Model", traveller.model or "-"),
        ("Count", str(traveller.count)),
        ("Began", traveller.began),
    )
    top = _TOP + _SYMBOL_MM + 8
    for name, said in facts + traveller.facts:
        pdf.set_font("Helvetica", "", 11)
        draw_fitted(pdf, name, (_MARGIN, top, 28, 7), align="L")
        pdf.set_font("Helvetica", "B", 13)
        draw_fitted(pdf, said, (_MARGIN + 30, top, wide - 30, 7), align="L")
        top += 8
    pdf.set_font("Helvetica", "", 9)
    pdf.set_xy(_MARGIN, _HEIGHT - 34)
    pdf.multi_cell(wide, 4.5, f"Cautions: {caution(traveller.stage)}", border="T", align="L")
    finished = bytes(pdf.output())
    _check_card(finished, traveller.link, corner)
    return finished


def traveller_png(traveller: Traveller, *, dpi: int = 300, dots: int | None = None) -> bytes:
    """Give the card's symbol with the lot below it as PNG, decoded; the errors are those of ``captioned_png``."""
    return captioned_png(traveller.link, traveller.lot, (traveller.stage,), dpi=dpi, dots=dots)


def _check_card(pdf: bytes, link: str, corner: tuple[float, float]) -> None:
    pages = list(rendered_pages(pdf))
    if len(pages) != 1:
        raise LabelUnreadable("traveller is not one page", expected=1, got=len(pages))
    decode_check(cropped(pages[0], corner, _SYMBOL_MM), link)
