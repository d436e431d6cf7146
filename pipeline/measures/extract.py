"""A data set for one study: chosen columns, keys of its own, one row an episode."""

import difflib
import hashlib
import hmac
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.dictionary import DescribedColumn, entries
from pipeline.measures.series import Where, condition_of
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

# Keys, and what tells an episode from every other of its month, never leave the store.
KEPT_BACK = frozenset(
    {"episode_id", "patient_key", "child_key", "month_order", "site_label", "has_contact_log"}
)
USUAL = (
    "site",
    "placed_quarter",
    "surgeon_type",
    "age_band",
    "nerve_target",
    "limb",
    "interpreter_needed",
    "tunnelled",
    "skin_glue",
    "planned_dwell_h",
    "dwell_h",
    "left_h",
    "right_h",
    "dwell_basis",
    "is_removed",
    "reason",
    "is_early",
)
# A column of the record whose codes stand in a view under another name.
CODED_AS = {"removal_reason": "reason"}
STUDY_KEYS = (
    DescribedColumn("study_id", "varchar", "Key of the episode, made for this study alone."),
    DescribedColumn("study_child", "varchar", "Key of the child, made for this study alone."),
)


def columns_to_choose_from() -> dict[str, DescribedColumn]:
    """Return what an extract may hold: columns of `episode_dwell` and `contact_summary`.

    Each has the codes that its values are taken from, where it has codes.
    """
    codes = {CODED_AS.get(c.name, c.name): c.codes for c in entries("episode")[0].columns}
    found = dict[str, DescribedColumn]()
    for view in ("episode_dwell", "contact_summary"):
        for column in entries(view)[0].columns:
            if column.name not in KEPT_BACK:
                found.setdefault(column.name, replace(column, codes=codes.get(column.name, ())))
    return found


def extract(
    store: Store,
    columns: Sequence[str],
    key: bytes,
    *,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
) -> "pl.DataFrame":
    """Return the chosen columns of the chosen episodes, re-keyed.

    Parameters
    ----------
    store : Store
        An open store.
    columns : sequence of str
        Names of `columns_to_choose_from`.
    key : bytes
        The study's secret: the same one gives the same study keys, another gives
        others that nobody can match to them.
    where, months
        As for :func:`pipeline.measures.series.series`.

    Returns
    -------
    polars.DataFrame
        `study_id`, `study_child` and the columns, in the order of `study_id`, which
        says nothing of the order of placement.

    Raises
    ------
    UsageError
        A column cannot be chosen.
    NoDataError
        No episode fits.
    """
    import polars as pl

    chosen = _checked(columns)
    views = dict.fromkeys(_names("episode_dwell"), "episode_dwell")
    listed = "".join(f", {views.get(name, 'contact_summary')}.{name} as {name}" for name in chosen)
    condition, params = condition_of(where, months)
    frame = store.frame(
        f"select episode_dwell.episode_id, episode_dwell.child_key{listed}"
        " from (select * from episode_dwell"
        f" where {condition}) as episode_dwell"
        " inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id",
        params,
    )
    if frame.is_empty():
        raise NoDataError("No episode fits what was asked.", try_next="dwell status")
    keys = [
        pl.Series(name, [_study_key(key, kind, value) for value in frame[column]])
        for name, kind, column in (
            ("study_id", "episode", "episode_id"),
            ("study_child", "child", "child_key"),
        )
    ]
    return frame.with_columns(keys).select("study_id", "study_child", *chosen).sort("study_id")


def _names(view: str) -> list[str]:
    return [column.name for column in entries(view)[0].columns]


def _checked(columns: Sequence[str]) -> list[str]:
    allowed = columns_to_choose_from()
    for name in columns:
        if name in KEPT_BACK:
            raise UsageError(f"{name} never leaves the store; an extract has study_id instead.")
        if name not in allowed:
            near = difflib.get_close_matches(name, allowed, n=1)
            raise UsageError(
                f"There is no column {name} to extract.",
                try_next=near[0] if near else "dwell extract --list",
            )
    return list(dict.fromkeys(columns))


def _study_key(key: bytes, kind: str, value: str) -> str:
    """Return 16 hexadecimal digits of a keyed hash: it cannot be undone without the key."""
    return hmac.new(key, f"{kind}:{value}".encode(), hashlib.sha256).hexdigest()[:16]
