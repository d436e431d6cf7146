"""Quality improvement for children sent home with a peripheral nerve catheter.

Records go in one direction: records, store, measures, analysis, disclosure,
figures, report. See DEVELOPERS.md for where things live.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store import open_store

__all__ = ["__version__", "open_store"]

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """Give `open_store` without importing the database before it is asked for."""
    if name == "open_store":
        from pipeline.store import open_store

        return open_store
    raise AttributeError(f"module 'pipeline' has no attribute {name!r}")
