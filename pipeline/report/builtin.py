"""The built-in renderer: the cells run here, then pandoc, then typst.

It serves where Quarto is not installed, and needs no kernel.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Callable, Mapping
from contextlib import chdir, redirect_stdout
from pathlib import Path
from typing import Any

from pipeline.errors import DwellError, RenderError
from pipeline.report.markdown import gathered
from pipeline.report.qmd import CodeCell, Prose, read_qmd

Progress = Callable[[str], None]

MARKDOWN = "markdown+pipe_tables+fenced_divs+bracketed_spans+smart-tex_math_dollars"


def execute(qmd: Path, parameters: Mapping[str, Any], progress: Progress) -> str:
    """Run the cells of a `.qmd` in its own folder and return it as Markdown.

    Parameters
    ----------
    qmd : Path
        The document.
    parameters : mapping of str to object
        Values laid over the defaults of the parameter cell.
    progress : callable
        Called with the section that is being made.

    Raises
    ------
    RenderError
        If a cell fails; the message names the section. An error of the
        program's own tree passes through as itself.
    """
    parts, begun = [], set[str]()
    names: dict[str, Any] = {"__name__": "__main__"}
    blocks = read_qmd(qmd)
    with chdir(qmd.parent):
        for block in blocks:
            if isinstance(block, Prose):
                parts.append(block.text)
                continue
            if block.section not in begun:
                progress(block.section)
                begun.add(block.section)
            parts += _run(block, names)
            if block.is_parameters:
                names |= parameters
    return "\n\n".join(part for part in parts if part.strip()) + "\n"


def _run(cell: CodeCell, names: dict[str, Any]) -> list[str]:
    """Run a cell among the names of those before it; return what it showed.

    The text of an unforeseen error can quote a record, so only its kind is told.
    """
    try:
        with gathered() as shown, redirect_stdout(io.StringIO()):
            exec(compile(cell.source, f"<{cell.section}>", "exec"), names)
    except DwellError:
        raise
    except Exception as error:
        debug = error if os.environ.get("DWELL_DEBUG") else None
        raise RenderError(
            f"The section “{cell.section}” could not be made ({type(error).__name__}).",
            try_next="the same command with DWELL_DEBUG=1, away from real records",
        ) from debug
    return shown


def to_html(markdown: Path, assets: Path, output: Path, footer: str) -> None:
    """Make one self-contained HTML file of a Markdown file and its images."""
    _pandoc(
        markdown,
        output,
        "html5",
        f"--template={assets / 'page.html'}",
        f"--css={assets / 'style.css'}",
        f"--lua-filter={assets / 'figures.lua'}",
        "--embed-resources",
        "--toc",
        "--toc-depth=2",
        "--section-divs",
        f"--metadata=footer:{footer}",
    )


def to_pdf(
    markdown: Path, assets: Path, output: Path, footer: str, part: str | None = None
) -> None:
    """Make a tagged PDF (PDF/UA-1) of a Markdown file and its images, by typst.

    `part`, "main" or "appendix", leaves out the other; None takes the whole.
    """
    import typst

    source = output.with_suffix(".typ")
    _pandoc(
        markdown,
        source,
        "typst",
        f"--template={assets / 'page.typ'}",
        f"--lua-filter={assets / 'figures.lua'}",
        f"--metadata=footer:{footer}",
        *([f"--metadata=part:{part}"] if part else []),
    )
    try:
        typst.compile(
            str(source),
            output=str(output),
            root=str(markdown.parent),
            ignore_system_fonts=True,  # the same pages on every machine
            pdf_standards=["ua-1"],
        )
    except RuntimeError as error:
        raise RenderError(f"typst could not set the PDF: {_first_line(error)}") from None


def _pandoc(source: Path, output: Path, to: str, *options: str) -> None:
    import pypandoc

    try:
        pypandoc.convert_file(
            str(source),
            to,
            format=MARKDOWN,
            outputfile=str(output),
            extra_args=["--standalone", f"--resource-path={source.parent}", *options],
            sandbox=False,
        )
    except (RuntimeError, OSError) as error:
        raise RenderError(f"pandoc could not make {output.name}: {_first_line(error)}") from None


def _first_line(error: Exception) -> str:
    return re.sub(r"\s+", " ", str(error))[:200]
