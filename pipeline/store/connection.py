"""Open the DuckDB file, and turn what the database says into plain errors.

The text of a database error can quote a cell, so none of it is passed on.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from pipeline.errors import StoreError

OWNER_ONLY = 0o600
# Of the machine's memory, or its container's: a load works in it and spills the rest beside
# the store.
MEMORY_LIMIT = "40%"

Config = dict[str, str | bool | int | float | list[str]]
# Clock times that are read and dropped could otherwise reach the disk in a spill. Encrypted
# by the library that DuckDB brings: its random numbers are weaker than those of an
# extension that would have to be downloaded, and the key goes with the process.
SPILL: Config = {"temp_file_encryption": True, "force_mbedtls_unsafe": True}

DAMAGED = "{path} is not a store, or is damaged."
RESTORE = "restore it from a backup, or load the records into a new one with --db"

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
        ("different version", "newer version", "version number"),
        "The store {path} was written by a newer version of the database.",
        "a newer version of dwell",
    ),
    (
        (
            "not a valid duckdb",
            "serialization error",
            "extension",
            "corrupt",
            "checksum",
            "could not read",
            "not enough bytes",
            "out of range",
        ),
        DAMAGED,
        RESTORE,
    ),
)
# Tables and views that a store of counts does not have.
_OF_EPISODES = re.compile(
    r"(episode|contact|visit|event|followed|catheter|quarter|measure|removal|record)\w*"
    " does not exist"
)
# Faults that the database finds while it reads what it took for whole.
_BROKEN = (duckdb.InternalException, duckdb.FatalException, duckdb.SerializationException)


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
    if isinstance(error, duckdb.CatalogException) and _OF_EPISODES.search(text):
        return needs_episodes(path, "this")
    for words, message, try_next in MEANINGS:
        if any(word in text for word in words):
            return StoreError(message.format(path=path), try_next=try_next)
    if isinstance(error, _BROKEN):
        return StoreError(DAMAGED.format(path=path), try_next=RESTORE)
    if isinstance(error, duckdb.OutOfMemoryException):
        return StoreError(f"Not enough memory or disk for this: nothing was changed in {path}.")
    if isinstance(error, duckdb.IOException):
        return StoreError(f"The store {path} cannot be read or written.")
    return StoreError(f"The store {path} could not answer ({type(error).__name__}).")


def needs_episodes(path: Path, what: str) -> StoreError:
    """Return the error of a store of counts that is asked for more."""
    return StoreError(
        f"The store {path} holds counts, and {what} needs single episodes.",
        try_next="dwell gather again, or a store made by dwell load",
    )


def require_store(path: Path) -> None:
    """Refuse a path where no file is; raises `StoreError`."""
    if not path.exists():
        raise StoreError(f"There is no store at {path}.", try_next=f"dwell load FOLDER --db {path}")
    require_file(path)


def require_file(path: Path) -> None:
    """Refuse a folder, a pipe or a device in the place of the store; raises `StoreError`."""
    if path.exists() and not path.is_file():
        what = "a folder" if path.is_dir() else "no ordinary file"
        raise StoreError(f"{path} is {what}, not a store.", try_next="--db FILE")


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
    config: Config = {
        "allow_community_extensions": "false",
        "autoinstall_known_extensions": "false",
    }
    if not read_only:
        config |= SPILL | {"memory_limit": MEMORY_LIMIT}
    with plain_errors(store or path):
        connection = duckdb.connect(str(path), read_only=read_only, config=config)
        # The commands draw their own progress. In a notebook's kernel the database has
        # none to draw, and refuses even to be told so.
        with suppress(duckdb.InvalidInputException):
            connection.execute("set enable_progress_bar = false")
    return connection
