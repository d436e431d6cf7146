"""What every question about measures shares: keyed copies made once a session.

Opaque keys are long texts and every measure is joined by them. A session therefore
copies what the measures read into temporary tables in which `episode_id` is a small
whole number, and lets the measures' own SQL run on those under the usual names.
"""

import re
from collections.abc import Iterable, Sequence

from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.where import WHERE_COLUMNS
from pipeline.settings import Settings
from pipeline.store import Store

# What episodes can be grouped and filtered by: the name asked for, and its column.
DIMENSIONS = {
    "month": "placed_month",
    "quarter": "placed_quarter",
    "site": "site",
    "surgeon_type": "surgeon_type",
    "limb": "limb",
    "nerve_target": "nerve_target",
    "age_band": "age_band",
    "interpreter_needed": "interpreter_needed",
    "placed_by": "placed_by",
    "tunnelled": "tunnelled",
    "skin_glue": "skin_glue",
    "drug": "drug",
}
_SETTING_TABLES = {"setting", "dose_ceiling"}
_KEPT = {
    "child_key",
    "month_order",
    "catheter_days",
    *DIMENSIONS.values(),
    *(column.sql for column in WHERE_COLUMNS.values()),
}


def keyed(name: str) -> str:
    """Return the name of the session's keyed copy of a table or view."""
    return f"keyed_{name}"


def copy_what_is_read(store: Store, measures: Iterable[Measure]) -> None:
    """Make the keyed copies that `measures` read, where the session has none yet."""
    names = {name for measure in measures for name in measure.reads} - _SETTING_TABLES
    _number_episodes(store)
    for name in sorted({"episode_dwell", *names}):
        ((have,),) = store.rows(
            "select count(*) from duckdb_tables() where temporary and table_name = ?",
            [keyed(name)],
        )
        if not have:
            store.rows(_copy(name, _columns_read(store, name)))


def _columns_read(store: Store, name: str) -> list[str]:
    """Columns of `name` that any measure mentions, or that questions are asked by."""
    words = set(re.findall(r"\w+", " ".join(m.sql for m in load_catalogue().values())))
    wanted = words | _KEPT if name == "episode_dwell" else words
    found = store.rows("select column_name from (describe select * from query_table(?))", [name])
    return [column for (column,) in found if column in wanted and column != "episode_id"]


def _number_episodes(store: Store) -> None:
    """Give every episode a number, on its own: with wide rows that would cost a copy more."""
    store.rows(
        "create temp table if not exists episode_number as"
        " select episode_id, cast(row_number() over () as integer) as number from episode"
    )


def _copy(name: str, columns: Sequence[str]) -> str:
    listed = "".join(f", source.{column}" for column in columns)
    return (
        f"create temp table {keyed(name)} as"
        f" select episode_number.number as episode_id{listed} from {name} as source"
        " inner join episode_number on source.episode_id = episode_number.episode_id"
    )


def steps(measures: Iterable[Measure], settings: Settings | None) -> list[str]:
    """Return the first steps of a select: the names that the measures' SQL reads."""
    names = sorted({name for measure in measures for name in measure.reads})
    found = [
        f"{name} as (select * from {keyed(name)})" for name in names if name not in _SETTING_TABLES
    ]
    return found + (_setting_steps(settings) if settings else [])


def _setting_steps(settings: Settings) -> list[str]:
    """Put the programme's settings in the place of the defaults; they are numbers."""
    ceilings = ", ".join(
        f"({int(c.below_age_years)}, {float(c.mg_kg_h)!r})" for c in settings.dose_ceilings
    )
    return [
        f"setting as (select 'evening_meal_hour' as name,"
        f" {float(settings.evening_meal_hour)!r} as value)",
        f"dose_ceiling as (select * from (values {ceilings}) as c (below_age_years, mg_kg_h))",
    ]
