"""Stock that labels are printed on: sheets of them, and rolls of single ones.

The sizes are common ones, as the trade sells them; no standard is known that holds them. A stock
is its measures and nothing else, so a further one is one more entry here.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.printing import PAPER_NAMES
from service.domain.refused import Invalid

INCH_MM = 25.4
UNPRINTED_MM = 5.0
"""What an office printer leaves blank along the edges of a sheet; common practice, no source."""
DRIFT_MM = 1.0
"""How far a print may lie beside its label; common practice, no source."""
MOST_LABELS = 500

PAPERS = {"a4": (210.0, 297.0), "letter": (8.5 * INCH_MM, 11 * INCH_MM)}
"""Papers the program prints on, width and height in mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelStock:
    """Labels of one size: ``columns`` times ``rows`` on a paper, or one after another on a roll.

    ``gap_across_mm`` lies between neighbours of a row; rows touch. The labels lie in the middle
    of their sheet.
    """

    name: str
    width_mm: float
    height_mm: float
    paper: str = ""
    columns: int = 1
    rows: int = 1
    gap_across_mm: float = 0.0

    @property
    def is_roll(self) -> bool:
        """Whether each label is a page of its own."""
        return not self.paper

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of a page."""
        return PAPERS[self.paper] if self.paper else (self.width_mm, self.height_mm)

    @property
    def each_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    @property
    def margins_mm(self) -> tuple[float, float]:
        """From the left and from the top of the page to the first label."""
        across = self.columns * self.width_mm + (self.columns - 1) * self.gap_across_mm
        width, height = self.page_mm
        return (width - across) / 2, (height - self.rows * self.height_mm) / 2

    @property
    def inset_mm(self) -> tuple[float, float]:
        """What is kept free inside a label at its sides, and at its top and foot."""
        if self.is_roll:
            return DRIFT_MM, DRIFT_MM
        left, top = self.margins_mm
        return max(DRIFT_MM, UNPRINTED_MM - left), max(DRIFT_MM, UNPRINTED_MM - top)

    def corner_mm(self, place: int) -> tuple[float, float]:
        """The top left corner of a label; places count from 0, row by row."""
        row, column = divmod(place, self.columns)
        left, top = self.margins_mm
        return left + column * (self.width_mm + self.gap_across_mm), top + row * self.height_mm

    @property
    def described(self) -> str:
        """The stock as people choose it: 63.5 × 38.1 mm, 21 on A4."""
        size = f"{self.width_mm:g} × {self.height_mm:g} mm"
        if self.is_roll:
            return f"{size}, roll"
        return f"{size}, {self.each_page} on {PAPER_NAMES[self.paper]}"


STOCKS = (
    LabelStock(
        name="a4-21",
        width_mm=63.5,
        height_mm=38.1,
        paper="a4",
        columns=3,
        rows=7,
        gap_across_mm=2.5,
    ),
    LabelStock(name="a4-24", width_mm=70, height_mm=37, paper="a4", columns=3, rows=8),
    LabelStock(
        name="a4-65",
        width_mm=38.1,
        height_mm=21.2,
        paper="a4",
        columns=5,
        rows=13,
        gap_across_mm=2.5,
    ),
    LabelStock(
        name="letter-30",
        width_mm=66.675,
        height_mm=INCH_MM,
        paper="letter",
        columns=3,
        rows=10,
        gap_across_mm=INCH_MM / 8,
    ),
    LabelStock(
        name="letter-10",
        width_mm=4 * INCH_MM,
        height_mm=2 * INCH_MM,
        paper="letter",
        columns=2,
        rows=5,
        gap_across_mm=INCH_MM * 3 / 16,
    ),
    LabelStock(name="roll-62x29", width_mm=62, height_mm=29),
    LabelStock(name="roll-57x32", width_mm=57, height_mm=32),
    LabelStock(name="roll-50x25", width_mm=50, height_mm=25),
    LabelStock(name="roll-100x50", width_mm=100, height_mm=50),
)
FIRST_STOCK = {"a4": "a4-21", "letter": "letter-30"}
"""What is offered first, by the paper of the shop."""
ONE_LABEL = "roll-62x29"
"""What a single label is printed on, where nobody chose."""


def stock_named(name: str) -> LabelStock:
    """The stock of that name; refuses another."""
    for stock in STOCKS:
        if stock.name == name:
            return stock
    known = ", ".join(stock.name for stock in STOCKS)
    raise Invalid("stock", f"There is no stock {name[:40]!r}. Choose one of {known}.")


def check_start(stock: LabelStock, start: int) -> None:
    """Refuse a first place that the sheet does not have; places count from 1."""
    if not 1 <= start <= stock.each_page:
        if stock.is_roll:
            raise Invalid("start", f"A roll has no place {start}. Leave the start at 1.")
        raise Invalid(
            "start",
            f"The sheet has no place {start}. Count from the top left, row by row, "
            f"and give 1 to {stock.each_page}.",
        )
