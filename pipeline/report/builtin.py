"""The built-in renderer: the same cells in a kernel, then pandoc, then typst.

It serves where Quarto is not installed. The kernel is the Python that runs this
program, found by no registry of kernels, and it keeps no history.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pipeline import errors
from pipeline.errors import DwellError, RenderError
from pipeline.report.qmd import Cell, Prose, read_qmd

Progress = Callable[[str], None]

# The models are many and small: threads for each would only wait for one another.
SMALL_MATRICES = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

_PACKAGE_PARENT = Path(__file__).resolve().parents[2]
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
    import nbformat

    blocks = read_qmd(qmd)
    notebook = nbformat.v4.new_notebook()
    for block in blocks:
        if isinstance(block, Cell):
            source = block.source + _assignments(block, parameters)
            cell = nbformat.v4.new_code_cell(source, metadata={"section": block.section})
            notebook.cells.append(cell)
    _run(notebook, qmd.parent, progress)
    done = iter(notebook.cells)
    parts = [b.text if isinstance(b, Prose) else _as_markdown(b, next(done)) for b in blocks]
    return "\n\n".join(part for part in parts if part.strip()) + "\n"


def _assignments(cell: Cell, parameters: Mapping[str, Any]) -> str:
    if not cell.is_parameters:
        return ""
    return "".join(f"\n{name} = {value!r}" for name, value in parameters.items())


def _run(notebook: Any, folder: Path, progress: Progress) -> None:
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient.exceptions import CellExecutionError, DeadKernelError

    from pipeline.report.kernel_client import Client

    with TemporaryDirectory(prefix="dwell-kernel-") as scratch:
        _write_kernelspec(Path(scratch))
        specs = KernelSpecManager(kernel_dirs=[scratch], ensure_native_kernel=False)
        manager = AsyncKernelManager(kernel_name="dwell", kernel_spec_manager=specs)
        if os.name == "posix":  # no port is opened: the two talk through files of the owner
            manager.transport, manager.ip = "ipc", str(Path(scratch) / "ipc")
        begun: list[str] = []
        client = Client(
            notebook,
            km=manager,
            timeout=None,
            resources={"metadata": {"path": str(folder)}},
            on_cell_start=_announcer(progress, begun),
        )
        client.owns_km = True  # it ends the kernel and closes the channels
        try:
            client.run()
        except CellExecutionError as error:
            _raise_named(error, begun[-1])
        except DeadKernelError:
            raise RenderError(
                f"The section “{begun[-1]}” stopped without an answer.",
                try_next="again with more free memory",
            ) from None


def _announcer(progress: Progress, begun: list[str]) -> Callable[..., None]:
    """Tell each section once, when its first cell starts, and note every cell's section.

    A kernel that dies may take with it the message that a cell has started, so what was
    begun is noted here.
    """

    def announce(cell: Any, cell_index: int) -> None:
        section = str(cell.metadata["section"])
        if section and section not in begun:
            progress(section)
        begun.append(section)

    return announce


def _write_kernelspec(folder: Path) -> None:
    """Describe this very Python as a kernel, with no history and no user's profile."""
    paths = [str(_PACKAGE_PARENT), os.environ.get("PYTHONPATH", "")]
    kernel = {
        "argv": [
            *(sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"),
            "--HistoryManager.enabled=False",
        ],
        "display_name": "dwell",
        "language": "python",
        "env": {
            "IPYTHONDIR": str(folder / "ipython"),
            "MPLBACKEND": "agg",
            **SMALL_MATRICES,
            "PYTHONPATH": os.pathsep.join(path for path in paths if path),
        },
    }
    (folder / "dwell").mkdir()
    (folder / "dwell" / "kernel.json").write_text(json.dumps(kernel), encoding="utf-8")


def _raise_named(error: Any, section: str) -> None:
    """Raise the program's own errors as themselves, all others by kind only.

    The text of an unforeseen error can quote a record, so it is not repeated.
    """
    kind = getattr(errors, error.ename, None)
    if isinstance(kind, type) and issubclass(kind, DwellError):
        message, _, try_next = str(error.evalue).partition("\nTry: ")
        raise kind(message, try_next=try_next or None) from None
    debug = error if os.environ.get("DWELL_DEBUG") else None
    raise RenderError(
        f"The section “{section}” could not be made ({error.ename}).",
        try_next="the same command with DWELL_DEBUG=1, away from real records",
    ) from debug


def _as_markdown(cell: Cell, done: Any) -> str:
    """Return what a finished cell adds to the document."""
    parts = [f"```python\n{cell.source}\n```"] if cell.is_echoed else []
    if cell.is_included:
        parts += [text for output in done.outputs if (text := _output_text(output))]
    return "\n\n".join(parts)


def _output_text(output: Any) -> str:
    if output.output_type in ("display_data", "execute_result"):
        return str(output.data.get("text/markdown", ""))
    return ""


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


def to_pdf(markdown: Path, assets: Path, output: Path, footer: str) -> None:
    """Make a tagged PDF (PDF/UA-1) of a Markdown file and its images, by typst."""
    import typst

    source = markdown.with_suffix(".typ")
    _pandoc(
        markdown,
        source,
        "typst",
        f"--template={assets / 'page.typ'}",
        f"--include-before-body={assets / 'print.typ'}",
        f"--lua-filter={assets / 'figures.lua'}",
        f"--metadata=footer:{footer}",
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
