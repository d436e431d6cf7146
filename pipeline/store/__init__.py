"""The store: one DuckDB file. DuckDB is imported nowhere else.

Names are imported when they are first asked for: who only starts the process that runs
typed SQL need not import the database.
"""

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store.connection import require_store
    from pipeline.store.kept_ready import (
        COUNTED_BY,
        READY,
        READY_COUNTS,
        counts_sql,
        keyed_select,
        ready,
    )
    from pipeline.store.session import Store, open_store
    from pipeline.store.settings_tables import SETTING_TABLES, settings_text

_HOMES = {
    "COUNTED_BY": "kept_ready",
    "READY": "kept_ready",
    "READY_COUNTS": "kept_ready",
    "SETTING_TABLES": "settings_tables",
    "settings_text": "settings_tables",
    "Store": "session",
    "counts_sql": "kept_ready",
    "keyed_select": "kept_ready",
    "open_store": "session",
    "ready": "kept_ready",
    "require_store": "connection",
}

__all__ = [
    "COUNTED_BY",
    "READY",
    "READY_COUNTS",
    "SETTING_TABLES",
    "Store",
    "counts_sql",
    "keyed_select",
    "open_store",
    "ready",
    "require_store",
    "settings_text",
]


def __getattr__(name: str) -> object:
    """Give a name of `__all__` from the module that it lives in."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
