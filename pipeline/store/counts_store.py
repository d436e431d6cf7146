"""A store of counts: the tables of `sql/gathered.sql` in the place of single episodes."""

import datetime as dt
from pathlib import Path

from pipeline.errors import StoreError
from pipeline.records.folder import find_sources
from pipeline.records.layout import RECORDS
from pipeline.resources import resource
from pipeline.settings import Settings
from pipeline.store.connection import plain_errors
from pipeline.store.kept_ready import READY, READY_COUNTS, RECORD_SUMS, ready
from pipeline.store.load import load_programme
from pipeline.store.one_row import count_of
from pipeline.store.platform import Platform
from pipeline.store.schema import drop_views
from pipeline.store.session import Store
from pipeline.store.settings_tables import settings_text

PROGRAMME = ("site", "change", "action")  # records that name no episode


def begin_counts(
    store: Store,
    platform: Platform,
    as_of: dt.date,
    settings: Settings,
    scratch: Path,
    *,
    confirmed: bool,
) -> None:
    """Make a new or earlier store of counts ready to be filled, in a transaction of the caller.

    Parameters
    ----------
    store : Store
        Open for writing.
    platform : Platform
        Its views stand; the programme's records are read from it.
    as_of : date
        When the records were as they are.
    settings : Settings
        Under which the platform's views count.
    scratch : Path
        A folder for files on the way.
    confirmed : bool
        Somebody has read titles, labels and site codes: they name nobody.

    Raises
    ------
    StoreError
        It holds episodes.
    PrivacyError
        A title, label or code could name somebody.
    """
    connection = store.connection
    with plain_errors(store.path):
        if not store.holds_counts and count_of(connection, "select count(*) from load"):
            raise StoreError(
                f"The store {store.path} holds records, and counts would take their place.",
                try_next="--out with another name",
            )
        for name in PROGRAMME:
            rows = platform.frame(f"select * from {name}")
            if not rows.is_empty():
                rows.write_parquet(scratch / f"{name}.parquet")
        load_programme(connection, find_sources(scratch), as_of, confirmed=confirmed)
        drop_views(connection)
        for name in RECORDS.keys() - set(PROGRAMME):
            connection.execute(f"drop table if exists {name}")
            connection.execute(f"drop table if exists {name}_version")
        for name in (*map(ready, READY), RECORD_SUMS):
            connection.execute(f"drop table if exists {name}")
        connection.execute(f"delete from {READY_COUNTS}")
        connection.execute(resource("sql", "gathered.sql").read_text(encoding="utf-8"))
        ((episodes,),) = platform.rows("select count(*) from episode_dwell")
        connection.execute(
            "insert into gathered values (?, ?, ?, ?)",
            [
                platform.name,
                dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0),
                episodes,
                settings_text(settings),
            ],
        )
