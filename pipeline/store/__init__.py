"""The store: one DuckDB file. DuckDB is imported nowhere else."""

from pipeline.store.connection import require_store
from pipeline.store.ready import (
    COUNTED_BY,
    READY,
    READY_COUNTS,
    counts_sql,
    keyed_select,
    ready,
)
from pipeline.store.session import Store, open_store

__all__ = [
    "COUNTED_BY",
    "READY",
    "READY_COUNTS",
    "Store",
    "counts_sql",
    "keyed_select",
    "open_store",
    "ready",
    "require_store",
]
