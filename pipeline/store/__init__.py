"""The store: one DuckDB file. DuckDB is imported nowhere else."""

from pipeline.store.connection import require_store
from pipeline.store.ready import READY, ready
from pipeline.store.session import Store, open_store

__all__ = ["READY", "Store", "open_store", "ready", "require_store"]
