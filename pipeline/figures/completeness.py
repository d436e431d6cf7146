"""How complete each field is at each site, as tiles: the darker, the more is missing."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from plotnine import (
    aes,
    element_text,
    geom_text,
    geom_tile,
    ggplot,
    labs,
    scale_color_identity,
    scale_fill_manual,
)

from pipeline.answers.quality import WHOLE, FieldShare
from pipeline.figures.look import INK, LABEL_SIZE, PAPER, WIDE_CM, Drawing, look

# Lower bound of each band of completeness, its name and its shade; grey prints well.
BANDS: tuple[tuple[float, str, str], ...] = (
    (WHOLE, "95% or more", "#E9EDF0"),
    (0.80, "80% to 95%", "#AEB7C0"),
    (0.50, "50% to 80%", "#6E7781"),
    (0.00, "under 50%", INK),
)
NOTHING = "none expected"
_ROW_CM = 0.55


def completeness_figure(shares: Sequence[FieldShare]) -> Drawing:
    """Draw completeness by field and site, with the percentage where it is under 95%.

    Parameters
    ----------
    shares : sequence of FieldShare
        One a field and site; fields and sites keep the order given.
    """
    fields = list(dict.fromkeys(s.field for s in shares))
    sites = list(dict.fromkeys(s.site for s in shares))
    names = [name for _, name, _ in BANDS]
    frame = pd.DataFrame(
        {
            "field": pd.Categorical([_spoken(s.field) for s in shares], _labels(fields)[::-1]),
            "site": pd.Categorical([s.site for s in shares], sites),
            "band": pd.Categorical([band(s.share) for s in shares], [*names, NOTHING]),
            "label": [_percent(s.share) for s in shares],
            "ink": [_ink(s.share) for s in shares],
        }
    )
    colours = {name: colour for _, name, colour in BANDS} | {NOTHING: PAPER}
    plot = (
        ggplot(frame, aes("site", "field"))
        + geom_tile(aes(fill="band"), color=PAPER, size=0.8)
        + geom_text(aes(label="label", color="ink"), size=LABEL_SIZE - 1)
        + scale_fill_manual(values=colours, drop=True)
        + scale_color_identity()
        + labs(x="", y="")
        + look(axis_text_y=element_text(ha="right"))
    )
    return Drawing(
        plot,
        title=_title(shares),
        caption="Share of the rows that should have the field and do, in the quarter.",
        alt=_alt(shares),
        width_cm=WIDE_CM[0],
        height_cm=2.4 + _ROW_CM * len(fields),
    )


def band(share: float | None) -> str:
    """Return the name of the band that a share falls into."""
    if share is None:
        return NOTHING
    return next(name for least, name, _ in BANDS if share >= least)


# The unit that ends a field's name, as people write it.
_UNITS = {"ml_h": "ml/h", "h": "h", "kg": "kg", "ml": "ml", "pct": "%"}


def _spoken(field: str) -> str:
    """Return a field's name in words, its unit in brackets."""
    for ending, unit in _UNITS.items():
        if field.endswith(f"_{ending}"):
            return f"{field.removesuffix(f'_{ending}').replace('_', ' ')} ({unit})"
    return field.replace("_", " ")


def _labels(fields: Sequence[str]) -> list[str]:
    return [_spoken(field) for field in fields]


def _percent(share: float | None) -> str:
    if share is None or share >= BANDS[0][0]:
        return ""
    return f"{100 * share:.0f}%"


def _ink(share: float | None) -> str:
    return PAPER if share is not None and share < BANDS[1][0] else INK


def _low(shares: Sequence[FieldShare]) -> dict[str, list[str]]:
    """Return the fields under 80% anywhere, with the sites."""
    low: dict[str, list[str]] = {}
    for s in shares:
        if s.share is not None and s.share < BANDS[1][0]:
            low.setdefault(_spoken(s.field), []).append(s.site)
    return low


def _title(shares: Sequence[FieldShare]) -> str:
    low = _low(shares)
    if not low:
        return "Every field is at least 80% complete at every site"
    named = list(low)[:3]
    more = f" and {len(low) - 3} more" if len(low) > 3 else ""
    return f"Less than 80% complete at some site: {', '.join(named)}{more}"


def _alt(shares: Sequence[FieldShare]) -> str:
    low = _low(shares)
    if not low:
        return "All tiles lie in the bands from 80% up."
    said = [f"{field} at {', '.join(sites)}" for field, sites in low.items()]
    return f"Under 80%: {'; '.join(said)}. All other tiles lie in the bands from 80% up."
