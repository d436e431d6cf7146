"""What every question about measures shares: what they read, with small keys.

Opaque keys are long texts and every measure is joined by them. In what the store keeps
ready, `episode_id` is a small whole number; a session brings what else the measures read
to the same keys, and lets the measures' own SQL run on it under the usual names.
"""

from collections.abc import Iterable

from pipeline.measures.catalogue import Measure
from pipeline.settings import Settings
from pipeline.store import READY, Store, keyed_select, ready

SETTING_TABLES = {"setting", "dose_ceiling"}


def keyed(name: str) -> str:
    """Return the name of the session's keyed copy of a table or view."""
    return f"keyed_{name}"


def copy_what_is_read(store: Store, measures: Iterable[Measure]) -> None:
    """Make the keyed copies that `measures` read, where the session has none yet."""
    names = {name for measure in measures for name in measure.reads} - SETTING_TABLES
    for name in sorted({"episode_dwell", *names}):
        if name in READY:
            store.rows(f"create temp view if not exists {keyed(name)} as {keyed_select(name)}")
        else:
            store.rows(
                f"create temp table if not exists {keyed(name)} as"
                f" select numbered.number as episode_id, source.* exclude (episode_id)"
                f" from {name} as source inner join {ready('episode_dwell')} as numbered"
                " on source.episode_id = numbered.episode_id"
            )


def steps(measures: Iterable[Measure], settings: Settings | None) -> list[str]:
    """Return the first steps of a select: the names that the measures' SQL reads."""
    names = sorted({name for measure in measures for name in measure.reads})
    found = [
        f"{name} as (select * from {keyed(name)})" for name in names if name not in SETTING_TABLES
    ]
    return found + (_setting_steps(settings) if settings else [])


def as_by_default(settings: Settings | None) -> bool:
    """Whether the rules in SQL read the same settings as in the store's own views."""
    usual = Settings()
    return settings is None or (
        settings.evening_meal_hour == usual.evening_meal_hour
        and settings.dose_ceilings == usual.dose_ceilings
    )


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
