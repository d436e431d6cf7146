"""Open the DuckDB file, and turn what the database says into plain errors.

The text of a database error can quote a cell, so none of it is passed on.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from pipeline.errors import StoreError

OWNER_ONLY = 0o600
# The load works in this much memory and spills the rest beside the store.
MEMORY_LIMIT = "3GB"

# What the database says, what it means, and what to try next.
MEANINGS: tuple[tuple[tuple[str, ...], str, str | None], ...] = (
    (
        ("conflicting lock", "could not set lock", "already open"),
        "The store {path} is in use by another command.",
        "again when it is done",
    ),
    (
        ("no space left", "file too large", "disk quota"),
        "The disk is full: nothing was changed in {path}.",
        "again with more space",
    ),
    (
        ("permission denied",),
        "The store {path} cannot be opened: permission denied.",
        None,
    ),
    (
        ("read-only",),
        "The store {path} cannot be written: it is read-only.",
        None,
    ),
    (
        ("not a valid duckdb", "serialization error", "extension"),
        "{path} is not a store, or is damaged.",
        None,
    ),
)


@contextmanager
def owner_only() -> Iterator[None]:
    """Every file made meanwhile (store, write-ahead log, spill) is its owner's alone."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Raise `StoreError` for whatever the database raises."""
    try:
        yield
    except duckdb.Error as error:
        if os.environ.get("DWELL_DEBUG"):
            raise
        raise explain(error, path) from None


def explain(error: duckdb.Error, path: Path) -> StoreError:
    """Say what a database error means for the store at `path`."""
    text = str(error).lower()
    for words, message, try_next in MEANINGS:
        if any(word in text for word in words):
            return StoreError(message.format(path=path), try_next=try_next)
    if isinstance(error, duckdb.OutOfMemoryException):
        return StoreError(f"Not enough memory or disk for this: nothing was changed in {path}.")
    if isinstance(error, duckdb.IOException):
        return StoreError(f"The store {path} cannot be read or written.")
    return StoreError(f"The store {path} could not answer ({type(error).__name__}).")


def require_store(path: Path) -> None:
    """Refuse a path where nothing is; raises `StoreError`."""
    if not path.exists():
        raise StoreError(f"There is no store at {path}.", try_next=f"dwell load FOLDER --db {path}")


def connect(path: Path, *, read_only: bool, store: Path | None = None) -> duckdb.DuckDBPyConnection:
    """Open the file at `path`.

    Parameters
    ----------
    store : Path, optional
        The name of the store in messages, where the file is a copy of it.

    Raises
    ------
    StoreError
        It is missing, in use or no store.
    """
    if read_only:
        require_store(path)
    config: dict[str, str | bool | int | float | list[str]] = {
        "allow_community_extensions": "false",
        "autoinstall_known_extensions": "false",
    }
    if not read_only:
        config["memory_limit"] = MEMORY_LIMIT
        # Clock times that are read and dropped could otherwise reach the disk in a spill.
        config["temp_file_encryption"] = True
    with plain_errors(store or path):
        connection = duckdb.connect(str(path), read_only=read_only, config=config)
        # The commands draw their own progress. In a notebook's kernel the database has
        # none to draw, and refuses even to be told so.
        with suppress(duckdb.InvalidInputException):
            connection.execute("set enable_progress_bar = false")
    return connection
