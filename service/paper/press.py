"""The press: every paper of the shop as PDF."""

from __future__ import annotations

from collections.abc import Sequence

from service.paper.card_sheet import card_pdf
from service.paper.job_report import job_pdf
from service.paper.labels import labels_pdf
from service.paper.repair_sheet import repair_pdf
from service.use_cases.card_paper import CardPaper
from service.use_cases.job_paper import JobPaper
from service.use_cases.label_papers import LabelPaper
from service.use_cases.label_stock import LabelStock
from service.use_cases.repair_paper import RepairPaper


class Press:
    """What makes PDF of papers, as ``use_cases.papers.PaperPress`` asks for it."""

    def labels(self, labels: Sequence[LabelPaper], stock: LabelStock, start: int) -> bytes:
        """Labels on stock."""
        return labels_pdf(labels, stock, start)

    def card(self, paper: CardPaper) -> bytes:
        """The sheet of a card."""
        return card_pdf(paper)

    def repair(self, paper: RepairPaper) -> bytes:
        """The sheet of a repair."""
        return repair_pdf(paper)

    def job(self, paper: JobPaper) -> bytes:
        """The report of a job."""
        return job_pdf(paper)
