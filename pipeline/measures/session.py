"""What every question about measures shares: what they read, with small keys.

Opaque keys are long texts and every measure is joined by them. In what the store keeps
ready, `episode_id` is a small whole number; a session brings what else the measures read
to the same keys, and lets the measures' own SQL run on it under the usual names.
"""

from collections.abc import Iterable

from pipeline.errors import StoreError
from pipeline.measures.catalogue import Measure
from pipeline.settings import Settings
from pipeline.store import READY, SETTING_TABLES, Store, keyed_select, ready, settings_text

# Views of the store that read the settings' tables: they are read anew under others.
READING_SETTINGS = frozenset({"contact_tier", "serious_event"})


def keyed(name: str) -> str:
    """Return the name under which the session reads a table or view by small keys."""
    return f"keyed_{name}"


def bring_to_keys(
    store: Store, measures: Iterable[Measure], settings: Settings | None = None
) -> None:
    """Name what `measures` read by small keys, under these settings."""
    store.put_settings(settings or Settings())
    as_counted = store.counted_under == settings_text(settings)
    for name in sorted({"episode_dwell", *_read_by(measures)}):
        is_ready = name in READY and (as_counted or name not in READING_SETTINGS)
        select = keyed_select(name) if is_ready else _numbered(name)
        store.rows(f"create or replace temp view {keyed(name)} as {select}")


def _read_by(measures: Iterable[Measure]) -> set[str]:
    return {name for measure in measures for name in measure.reads} - SETTING_TABLES


def _numbered(name: str) -> str:
    return (
        "select numbered.number as episode_id, source.* exclude (episode_id)"
        f" from {name} as source inner join {ready('episode_dwell')} as numbered"
        " on source.episode_id = numbered.episode_id"
    )


def steps(measures: Iterable[Measure]) -> list[str]:
    """Return the first steps of a select: the names that the measures' SQL reads."""
    return [f"{name} as (select * from {keyed(name)})" for name in sorted(_read_by(measures))]


def holds_as_counted(store: Store, measure: Measure, settings: Settings | None) -> bool:
    """Whether what the store keeps counted of a measure holds under these settings.

    Raises
    ------
    StoreError
        It does not, and there are no episodes to count anew.
    """
    if not reads_settings(measure) or store.counted_under == settings_text(settings):
        return True
    if store.holds_counts:
        raise StoreError(
            f"The store {store.path} holds counts of {measure.name} under other settings.",
            try_next="the settings file that dwell gather had, or dwell gather with this one",
        )
    return False


def reads_settings(measure: Measure) -> bool:
    """Whether what the measure counts depends on the settings."""
    return bool((SETTING_TABLES | READING_SETTINGS) & set(measure.reads))
