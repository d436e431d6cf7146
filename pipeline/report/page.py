"""The page being written: what cells show, and the picture files beside it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.figures.look import Drawing
from pipeline.figures.sparkline import Sparkline
from pipeline.report import markdown
from pipeline.report.numbers import Sentence
from pipeline.report.second_process import SecondProcess

FIGURES = "figures"


class Page:
    """Draws figures into a folder and remembers which.

    Parameters
    ----------
    folder : Path
        The document's folder; pictures go to `figures/` in it.
    beside : SecondProcess, optional
        A second process that draws too.
    """

    def __init__(self, folder: Path, beside: SecondProcess | None = None) -> None:
        self._beside = beside
        self._from = "" if folder.is_absolute() else f"{folder.as_posix()}/".removeprefix("./")
        self._folder = folder / FIGURES
        self._folder.mkdir(parents=True, exist_ok=True)
        self.drawn: list[str] = []

    def figure(self, name: str, drawing: Drawing) -> list[str]:
        """Draw a figure; return its finding and the image, a piece each."""
        return [finding(drawing.title), self.image(name, drawing)]

    def image(self, name: str, drawing: Drawing) -> str:
        """Draw a figure whose finding the text has said already; return the image."""
        path = self._save(name, drawing)
        return markdown.figure_block(path, drawing.caption, drawing.alt, drawing.width_cm)

    def small(self, name: str, line: Sparkline) -> str:
        """Draw a small line; return it as an image that stands in a cell."""
        path = self._path(name)
        line.save(self._folder / Path(path).name)
        return f'![]({path}){{fig-alt="{markdown.text(line.alt)}" width={line.width_cm:g}cm}}'

    def finish(self) -> None:
        """Wait until every figure is drawn."""
        if self._beside is not None:
            self._beside.finish()

    def _save(self, name: str, drawing: Drawing) -> str:
        path = self._path(name)
        if self._beside is None:
            drawing.save(self._folder / Path(path).name)
        else:
            self._beside.draw(drawing, self._folder / Path(path).name)
        return path

    def _path(self, name: str) -> str:
        """Return where the document finds a figure, and remember it."""
        self.drawn.append(f"{name}.svg")
        return f"{self._from}{FIGURES}/{self.drawn[-1]}"


def finding(title: str) -> str:
    """Return the sentence that states what a figure shows."""
    return f"::: {{.finding}}\n{markdown.prose(title)}\n:::"


def paragraph(sentences: Sequence[Sentence]) -> str:
    """Return sentences as one paragraph."""
    return markdown.prose(" ".join(sentence.text for sentence in sentences))


def item(sentence: Sentence) -> str:
    """Return a sentence as a list item, its subject first and linked to the evidence."""
    text = markdown.prose(sentence.text)
    if not sentence.subject:
        return text
    subject = markdown.text(sentence.subject)
    linked = f"[{subject}](#{sentence.anchor})" if sentence.anchor else subject
    return f"**{linked}.** {text}"


def side_by_side(*lists: tuple[str, str, Sequence[Sentence]]) -> str:
    """Return lists of sentences, each with its title and anchor, beside one another."""
    parts = [
        "\n\n".join(
            [
                "::: {.list}",
                f"### {title} {{#{name}}}",
                markdown.bullets([item(sentence) for sentence in those]),
                ":::",
            ]
        )
        for title, name, those in lists
    ]
    return block("three", *parts)


def block(name: str, *pieces: str) -> str:
    """Return pieces inside a division of a class."""
    inside = "\n\n".join(pieces)
    return f":::: {{.{name}}}\n\n{inside}\n\n::::"


def scrolled(piece: str, label: str) -> str:
    """Return a wide figure in a region that a narrow screen scrolls."""
    name = markdown.text(label)
    opening = f':::: {{.wide-figure tabindex="0" role="region" aria-label="{name}"}}'
    return f"{opening}\n\n{piece}\n\n::::"
