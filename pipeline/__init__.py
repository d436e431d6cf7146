"""Quality improvement for children sent home with a peripheral nerve catheter.

Records go in one direction: records, store, measures, analysis, answers, words,
figures, disclosure, report. See DEVELOPERS.md for where things live.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.answers.programme import open_programme as open_store

__all__ = ["__version__", "open_store"]

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """Give `open_store` without importing the database before it is asked for."""
    if name == "open_store":
        from pipeline.answers.programme import open_programme

        return open_programme
    raise AttributeError(f"module 'pipeline' has no attribute {name!r}")
