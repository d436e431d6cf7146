"""The store: one DuckDB file. DuckDB is imported nowhere else."""

from pipeline.store.connection import require_store
from pipeline.store.session import Store, open_store

__all__ = ["Store", "open_store", "require_store"]
