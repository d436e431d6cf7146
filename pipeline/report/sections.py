"""What both reports are: sections shown in order, and the files written beside the page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ClassVar, TypeVar

from pipeline import __version__
from pipeline.report.definitions import CAUTIONS
from pipeline.report.front import Facts
from pipeline.report.markdown import bullets, prose, show
from pipeline.report.numbers import FILE, Ledger, Number, Sentence
from pipeline.report.page import Page, block
from pipeline.report.second_process import SecondProcess
from pipeline.report.workbook import FILE as WORKBOOK
from pipeline.report.workbook import Sheet, write_workbook
from pipeline.words.desk import CONFIDENTIAL

Made = TypeVar("Made")


def made_beside(make: Callable[[SecondProcess], Made], beside: SecondProcess | None = None) -> Made:
    """Make a report with a second process; a failure leaves no process behind.

    `beside` is one that was started before; it is started here unless given.
    """
    beside = beside or SecondProcess()
    try:
        return make(beside)
    except BaseException:
        beside.leave()
        raise


class Sections:
    """Shows the sections in order, and writes the files beside the page at the end."""

    name: ClassVar[str]

    def __init__(self, facts: Facts, period: str, folder: Path | str, beside: SecondProcess | None):
        self._facts = facts
        self._period = period
        self._folder = Path(folder)
        self._page = Page(self._folder, beside)
        self._numbers: list[Number] = [*facts.numbers()]
        self._sentences: list[Sentence] = []
        self._sheets: list[Sheet] = []

    def cautions(self) -> None:
        """Show the cautions."""
        show(block("caution", bullets([prose(caution) for caution in CAUTIONS])))

    def finish(self, renderer: str) -> None:
        """Write `numbers.json` and `tables.xlsx`, and say what made the report."""
        self._page.finish()
        facts = self._facts
        Ledger(
            report=self.name,
            period=self._period,
            fingerprint=facts.fingerprint,
            as_of=facts.as_of,
            version=__version__,
            numbers=tuple(self._numbers),
            sentences=tuple(self._sentences),
            figures=tuple(self._page.drawn),
        ).write(self._folder / FILE)
        write_workbook(self._sheets, self._folder / WORKBOOK, CONFIDENTIAL)
        made = f"Made by dwell {__version__} with {renderer}."
        files = (
            f"Beside this page: `figures/`, `{WORKBOOK}` and `{FILE}`, which holds every figure."
        )
        show(block("note", prose(made), files))
