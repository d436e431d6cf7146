"""The look that every figure shares: type, colour, size and how it is saved.

Words carry the verdict and colour only helps, so points in control are grey, a
signal is dark and filled, and a reason of removal has one colour everywhere.
The colours are the palette of Okabe and Ito (2008), "Color Universal Design",
extended by shades and tints of its hues: there are twelve reasons, and a removal
without a recorded one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from matplotlib import pyplot, rc_context
from plotnine import (
    element_blank,
    element_line,
    element_rect,
    element_text,
    labs,
    theme,
    theme_minimal,
)
from plotnine.scales.scale_continuous import scale_continuous

from pipeline.errors import RenderError
from pipeline.figures.svg import compact
from pipeline.outputs import written_beside
from pipeline.words.desk import CONFIDENTIAL

if TYPE_CHECKING:
    from plotnine import ggplot

INK = "#1B1F24"  # text, and a point that signals
MUTED = "#57606A"  # second-rank text; 6:1 on white
POINT = "#8A929A"  # a point in control, and the line that joins points
LIMIT = "#6E7781"  # control limits, thin steps
CENTRE = "#4A525A"  # the centre line
CHANGE = "#0072B2"  # a logged change on the time axis
GRID = "#E6E9EC"
PAPER = "#FFFFFF"
SIGNAL = INK

ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"

# In the order in which reasons are stacked and listed, the usual one first.
REASON_COLOURS: dict[str, str] = {
    "completed": "#CBD2D9",
    "dislodged": VERMILLION,
    "leakage": BLUE,
    "dressing_failure": SKY,
    "infection_signs": PURPLE,
    "toxicity_symptoms": "#7B2D5B",
    "inadequate_analgesia": ORANGE,
    "numbness_weakness": YELLOW,
    "pump_fault": GREEN,
    "imaging": "#8C6A1A",
    "family_request": "#8FD3BF",
    "other": "#8A929A",
    "not_recorded": "#E3D7EC",  # removed, and no reason was written down
}

# For groups drawn together (sites, surgeon types), in the order they are given.
GROUP_COLOURS: tuple[str, ...] = (
    BLUE,
    VERMILLION,
    GREEN,
    PURPLE,
    "#8C6A1A",
    SKY,
    "#7B2D5B",
    ORANGE,
    INK,
    MUTED,
)

FONT = "DejaVu Sans"  # comes with matplotlib, so it is the same on every machine
TEXT_PT = 9.0
SMALL_PT = 8.0
# plotnine's geom_text takes millimetre-like sizes that equal points here.
LABEL_SIZE = 8

CHART_CM = (13.0, 7.2)  # one control chart: its text stays legible on a telephone
WIDE_CM = (16.0, 9.0)
SPARK_CM = (2.8, 0.7)

_SAVED: dict[Any, Any] = {
    "svg.hashsalt": "dwell",  # else every file draws new random ids
    "svg.fonttype": "path",  # text keeps its shape where the font is missing
    "font.family": [FONT],
    "path.simplify": True,
}
_FORMATS = {".svg": "svg", ".png": "png"}


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure with the words that belong to it.

    Attributes
    ----------
    plot : plotnine.ggplot
        The figure, without title or caption drawn into it.
    title : str
        The finding, as a sentence.
    caption : str
        The method, in one line.
    alt : str
        What the figure shows, with its numbers, for those who cannot see it.
    width_cm, height_cm : float
        Size in centimetres.
    """

    plot: ggplot
    title: str
    caption: str
    alt: str
    width_cm: float = CHART_CM[0]
    height_cm: float = CHART_CM[1]

    def save(self, path: Path) -> Path:
        """Write the figure at its own size; see `save`."""
        return save(self.plot, path, self.width_cm, self.height_cm)


def standalone(drawing: Drawing) -> Drawing:
    """Return a figure with its title and caption drawn into it, for a file of its own.

    In the report both stand in the page's text; a file that travels alone carries them,
    and for whose eyes it is.
    """
    title = _wrapped(drawing, drawing.title, 11)
    caption = "\n".join(_wrapped(drawing, part, 7.5) for part in (drawing.caption, CONFIDENTIAL))
    lines = title.count("\n") + caption.count("\n") + 2
    words = theme(
        plot_title=element_text(size=11, color=INK, ha="left", margin={"b": 8}),
        plot_caption=element_text(size=7.5, color=MUTED, ha="left", margin={"t": 6}),
        plot_title_position="plot",
        plot_caption_position="plot",
    )
    return replace(
        drawing,
        plot=drawing.plot + labs(title=title, caption=caption) + words,
        height_cm=drawing.height_cm + 0.5 * lines,
    )


def _wrapped(drawing: Drawing, text: str, size_pt: float) -> str:
    """Break a text into lines that fit the figure's width."""
    return fill(text, int(drawing.width_cm / (size_pt * 0.0198)))


def look(**changes: Any) -> theme:
    """Return the theme of every figure, with `changes` laid over it.

    Parameters
    ----------
    **changes
        Anything that `plotnine.theme` takes.
    """
    return (
        theme_minimal(base_size=TEXT_PT, base_family=FONT)
        + theme(
            text=element_text(color=INK),
            axis_text=element_text(size=SMALL_PT, color=MUTED),
            axis_title=element_text(size=SMALL_PT, color=MUTED),
            axis_ticks=element_line(color=GRID, size=0.5),
            axis_line_x=element_line(color=LIMIT, size=0.5),
            panel_grid_major=element_line(color=GRID, size=0.5),
            panel_grid_minor=element_blank(),
            panel_grid_major_x=element_blank(),
            panel_border=element_blank(),
            plot_background=element_rect(fill=PAPER, color="none"),
            panel_background=element_rect(fill=PAPER, color="none"),
            strip_background=element_blank(),
            strip_text=element_text(size=SMALL_PT, color=INK, ha="left"),
            legend_title=element_blank(),
            legend_text=element_text(size=SMALL_PT),
            legend_position="bottom",
            legend_key=element_blank(),
        )
        + theme(**changes)
    )


def group_colours(groups: list[str] | tuple[str, ...]) -> list[str]:
    """Colours for `groups` in the order given; they repeat after ten."""
    return [GROUP_COLOURS[i % len(GROUP_COLOURS)] for i in range(len(groups))]


def save(figure: ggplot, path: Path, width_cm: float, height_cm: float) -> Path:
    """Write a figure as SVG or PNG, the same bytes for the same figure.

    Parameters
    ----------
    figure : plotnine.ggplot
        The figure.
    path : Path
        Where to; the suffix, `.svg` or `.png`, chooses the format.
    width_cm, height_cm : float
        Size in centimetres.

    Raises
    ------
    RenderError
        If the suffix is another, or the file cannot be written.
    """
    path = Path(path)
    kind = _FORMATS.get(path.suffix.lower())
    if kind is None:
        raise RenderError(
            f"A figure is written as .svg or .png, not {path.suffix or 'without a suffix'}.",
            try_next=f"{path.stem}.svg",
        )
    sized = figure + theme(figure_size=(width_cm / 2.54, height_cm / 2.54), dpi=200)
    for scale in (s for s in sized.scales if isinstance(s, scale_continuous)):
        scale.minor_breaks = None  # the look shows none, and to make their ticks takes long
    with rc_context(_SAVED):
        drawn = sized.draw()
        try:
            with written_beside(path) as part:
                drawn.savefig(part, format=kind, dpi=200, metadata=_no_date(kind))
                if kind == "svg":
                    part.write_text(compact(part.read_text(encoding="utf-8")), encoding="utf-8")
        finally:
            pyplot.close(drawn)
    return path


def _no_date(kind: str) -> dict[str, Any]:
    """Metadata that leaves out what differs between two runs."""
    return {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
