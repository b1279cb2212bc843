"""Reading papers back as another program sees them: text, places and pictures of a PDF."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
from PIL import Image

OUTPUT = Path(__file__).parent / "output" / "paper"
POINTS_PER_MM = 72 / 25.4


@dataclass(frozen=True)
class TextLying:
    """A piece of text and the box of its ink, in mm from the top left of its page."""

    page: int
    text: str
    left: float
    top: float
    right: float
    bottom: float


class Pages:
    """A PDF as a reader shows it."""

    def __init__(self, pdf: bytes) -> None:
        assert pdf.startswith(b"%PDF-") and pdf.rstrip().endswith(b"%%EOF")
        self._document = pdfium.PdfDocument(pdf)
        self._pages = [self._document[number] for number in range(len(self._document))]

    def __len__(self) -> int:
        return len(self._pages)

    def size_mm(self, page: int = 0) -> tuple[float, float]:
        """Width and height of a page."""
        width, height = self._pages[page].get_size()
        return width / POINTS_PER_MM, height / POINTS_PER_MM

    def text(self, page: int | None = None) -> str:
        """The words of a page, or of all of them, with single blanks and no places to part."""
        chosen = self._pages if page is None else [self._pages[page]]
        words = " ".join(one.get_textpage().get_text_range() for one in chosen)
        return re.sub(r"\s+", " ", re.sub("[\u200b\ufffe\x02]", "", words))

    def lying(self) -> Iterator[TextLying]:
        """Every piece of text with its place; blanks have no ink."""
        for number, page in enumerate(self._pages):
            height = page.get_size()[1]
            words = page.get_textpage()
            for piece in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=20):
                left, bottom, right, top = piece.get_bounds()
                text = words.get_text_bounded(left - 0.2, bottom - 0.2, right + 0.2, top + 0.2)
                if right > left and top > bottom:
                    yield TextLying(
                        number,
                        text.strip(),
                        left / POINTS_PER_MM,
                        (height - top) / POINTS_PER_MM,
                        right / POINTS_PER_MM,
                        (height - bottom) / POINTS_PER_MM,
                    )

    def picture(self, page: int = 0, dpi: float = 150) -> Image.Image:
        """A page as grey picture."""
        return self._pages[page].render(scale=dpi / 72, grayscale=True).to_pil().convert("L")

    def coloured(self, page: int = 0) -> Image.Image:
        """A page as it would come out of a colour printer."""
        return self._pages[page].render(scale=1).to_pil().convert("RGB")

    def keep(self, name: str) -> None:
        """Keep a picture of each page under tests/output/paper, to be looked at."""
        OUTPUT.mkdir(parents=True, exist_ok=True)
        for page in range(len(self)):
            self.picture(page, 110).save(OUTPUT / f"{name}-{page + 1}.png")


def overlapping(pieces: list[TextLying], slack_mm: float = 0.15) -> list[str]:
    """Pairs of pieces that run into each other."""
    found = []
    for place, one in enumerate(pieces):
        for other in pieces[place + 1 :]:
            across = min(one.right, other.right) - max(one.left, other.left)
            along = min(one.bottom, other.bottom) - max(one.top, other.top)
            if one.page == other.page and across > slack_mm and along > slack_mm:
                found.append(f"page {one.page + 1}: {one.text!r} and {other.text!r}")
    return found
