"""From a report's source to finished files, or the previous ones left as they were.

Everything is made in a folder beside the destination; only when all of it is
there is it moved into place, the page last.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline import __version__
from pipeline.errors import RenderError
from pipeline.outputs import scratch_folder
from pipeline.report import builtin, quarto
from pipeline.resources import resource
from pipeline.settings import load_settings
from pipeline.words.desk import CONFIDENTIAL

Progress = Callable[[str], None]

_ASSETS = ("style.css", "page.html", "page.typ", "typst-show.typ", "figures.lua")
FIGURES = "figures"
RELEASE = "release"  # the one document that may be passed on
APPENDIX = "{#appendix}"  # of the heading from which on a report is its appendix


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be rendered.

    Attributes
    ----------
    document : str
        Name of the source in `reports/`, without suffix.
    parameters : mapping of str to object
        Values for its parameter cell.
    out : Path
        Folder for the report; made where it is not there.
    stem : str
        File name of the report, without suffix.
    with_pdf : bool
        A PDF is made beside the HTML.
    renderer : {"auto", "quarto", "builtin"}
        `auto` is Quarto where it is installed, else the built-in one.
    files : mapping of str to str
        Texts that the document reads, by the names that it finds them under.
    """

    document: str
    parameters: Mapping[str, Any]
    out: Path
    stem: str
    with_pdf: bool = False
    renderer: str = "auto"
    files: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rendered:
    """What was made, and by which renderer."""

    html: Path
    pdf: Path | None
    renderer: str


def render(order: Order, progress: Progress = lambda _: None) -> Rendered:
    """Make a report and put it into place.

    Parameters
    ----------
    order : Order
        What to render, and where to.
    progress : callable
        Called with a few words as each part begins.

    Returns
    -------
    Rendered
        The files.

    Raises
    ------
    RenderError
        If it cannot be made; nothing in `order.out` has changed then.
    """
    program = _chosen(order.renderer)
    out = order.out.resolve()
    try:
        out.mkdir(parents=True, exist_ok=True)
        with scratch_folder(out) as folder:
            _lay_out(order, folder)
            if program is None:
                name = _by_builtin(order, folder, progress)
            else:
                name = _by_quarto(program, order, folder, progress)
            progress("Putting the report into place")
            _publish(folder, out, order.stem)
    except OSError as error:
        raise RenderError(f"Cannot write the report to {order.out}: {error.strerror}.") from None
    pdf = order.out / f"{order.stem}.pdf" if order.with_pdf else None
    return Rendered(order.out / f"{order.stem}.html", pdf, name)


def _chosen(renderer: str) -> quarto.Quarto | None:
    if renderer == "builtin":
        return None
    return quarto.require_quarto() if renderer == "quarto" else quarto.find_quarto()


def _lay_out(order: Order, folder: Path) -> None:
    for name in (f"{order.document}.qmd", *_ASSETS):
        shutil.copyfile(resource("reports", name), folder / name)
    for name, text in order.files.items():
        (folder / name).write_text(text, encoding="utf-8")


def _by_builtin(order: Order, folder: Path, progress: Progress) -> str:
    name = "the built-in renderer"
    text = _executed(order, folder, name, progress)
    markdown = folder / f"{order.document}.md"
    markdown.write_text(text, encoding="utf-8")
    progress("Page")
    builtin.to_html(markdown, folder, folder / f"{order.stem}.html", _footer(order, name))
    if order.with_pdf:
        progress("PDF")
        for part, stem in _parts(order.stem, text).items():
            builtin.to_pdf(markdown, folder, folder / f"{stem}.pdf", _footer(order, name), part)
    return name


def _executed(order: Order, folder: Path, renderer: str, progress: Progress) -> str:
    """Run the cells, once for every format."""
    parameters = {**order.parameters, "folder": ".", "renderer": renderer}
    return builtin.execute(folder / f"{order.document}.qmd", parameters, progress)


def _parts(stem: str, text: str) -> dict[str | None, str]:
    """Return the name of the PDF of each part; a report without appendix has one of all."""
    if APPENDIX not in text:
        return {None: stem}
    return {"main": stem, "appendix": f"{stem}-appendix"}


def _by_quarto(program: quarto.Quarto, order: Order, folder: Path, progress: Progress) -> str:
    """Run the cells here and give Quarto a document without cells.

    So it needs neither a kernel nor papermill, and no value passes through its command line.
    """
    name = f"Quarto {program.version}"
    qmd = folder / f"{order.document}.qmd"
    text = _executed(order, folder, name, progress)
    qmd.write_text(text, encoding="utf-8")
    wanted: list[tuple[str, str, str | None]] = [("html", f"{order.stem}.html", None)]
    if order.with_pdf:
        # The main part last: on its way to any PDF Quarto writes one of the document's name.
        parts = reversed(_parts(order.stem, text).items())
        wanted += [("typst", f"{stem}.pdf", part) for part, stem in parts]
    for to, output, part in wanted:
        progress(f"Quarto, {output.rpartition('.')[2]}")
        quarto.render_with_quarto(
            program, qmd, to=to, output=output, footer=_footer(order, name), part=part
        )
        if not (folder / output).is_file():
            raise RenderError(f"Quarto ended well but left no {output}.")
    return name


def _footer(order: Order, renderer: str) -> str:
    """Return the line at the foot of every page: for whose eyes it is, and what made it."""
    made = f"Made by dwell {__version__} with {renderer}."
    if order.document == RELEASE:
        return made
    named = order.parameters.get("settings")
    network = load_settings(Path(named) if named else None).network
    return f"{network}. {CONFIDENTIAL} {made}"


def _publish(folder: Path, out: Path, stem: str) -> None:
    """Move the finished files over the previous ones, each whole, the page last.

    Only then is taken away what the previous report left and this one has not, so that a
    release holds no figure of a report, and who is stopped half-way has lost nothing.
    """
    previous = _previous(out, stem)
    (out / FIGURES).mkdir(exist_ok=True)
    made = sorted(path.relative_to(folder) for path in (folder / FIGURES).glob("*.svg"))
    beside = ("tables.xlsx", "numbers.json", f"{stem}-appendix.pdf", f"{stem}.pdf", f"{stem}.html")
    made += [Path(name) for name in beside if (folder / name).exists()]
    for path in made:
        os.replace(folder / path, out / path)
    for path in previous - set(made):
        (out / path).unlink(missing_ok=True)


def _previous(out: Path, stem: str) -> set[Path]:
    """Return the PDF and the figures that the previous report lists as its own."""
    found = {Path(f"{stem}.pdf"), Path(f"{stem}-appendix.pdf")}
    with suppress(OSError, ValueError, KeyError, TypeError):
        listed = json.loads((out / "numbers.json").read_text(encoding="utf-8"))["figures"]
        found |= {Path(FIGURES, Path(str(name)).name) for name in listed}
    return found
