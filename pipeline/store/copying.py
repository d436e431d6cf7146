"""Write on a copy beside the store, which takes the store's place once it is complete.

Readers go on with the file that they opened, and see what is new when they open the store
again. A writer that is killed leaves only its copy, which the next writer clears away.
"""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import duckdb
from filelock import FileLock, Timeout

from pipeline.errors import StoreError
from pipeline.store.connection import (
    MEANINGS,
    OWNER_ONLY,
    connect,
    explain,
    plain_errors,
    require_file,
)

TRIES, WAIT = 50, 0.2  # seconds apart
AT_ONCE = 1 << 30  # bytes that the system is asked to copy in one call


@contextmanager
def writing_copy(path: Path) -> Iterator[Path]:
    """Give the path of a copy of the store to write on; without a store there is none yet.

    The copy takes the place of the store when the block ends, and is dropped when it ends
    in an error. It has to be closed by then, and to have no write-ahead log.

    Parameters
    ----------
    path : Path
        The store; of a symbolic link, the file that it leads to is replaced.

    Raises
    ------
    StoreError
        Another command writes, the store or its folder is read-only, or the disk has no
        room for a copy.
    """
    store = path.resolve()
    copy = store.with_name(f"{store.name}.writing")
    _may_be_written(store, path)
    with _alone(store, path):
        try:
            with plain_system_errors(path):
                _clear_away(copy)
                _settle(store, path)
                if store.exists():
                    _require_room(store, path)
                    copy_file(store, copy)
            yield copy
            with plain_system_errors(path):
                _swap(copy, store, path)
        finally:
            with suppress(OSError):
                _clear_away(copy)


@contextmanager
def plain_system_errors(path: Path) -> Iterator[None]:
    """Raise `StoreError` for whatever the operating system raises."""
    try:
        yield
    except Timeout:
        raise StoreError(MEANINGS[0][1].format(path=path), try_next=MEANINGS[0][2]) from None
    except OSError as error:
        raise explain(duckdb.IOException(error.strerror or ""), path) from None


def copy_file(source: Path, target: Path) -> None:
    """Copy a closed store, sharing its blocks where the file system can.

    It is open for reading meanwhile, so that no other program writes it.

    Raises
    ------
    OSError
        It cannot be copied.
    StoreError
        Another program writes it, or it is no store.
    """
    with (
        plain_errors(source),
        closing(connect(source, read_only=True)),
        source.open("rb") as have,
        target.open("xb") as made,
    ):
        target.chmod(OWNER_ONLY)
        try:
            while os.copy_file_range(have.fileno(), made.fileno(), AT_ONCE):
                pass
        except (AttributeError, OSError):  # no such call, or not between these files
            have.seek(0)
            made.seek(0)
            made.truncate()
            shutil.copyfileobj(have, made, 1 << 20)


def _may_be_written(store: Path, path: Path) -> None:
    if not store.parent.is_dir():
        raise StoreError(f"There is no folder {path.parent} for the store.")
    require_file(path)
    if store.exists() and not os.access(store, os.W_OK):
        raise StoreError(f"The store {path} cannot be written: it is read-only.")
    if not os.access(store.parent, os.W_OK):
        raise StoreError(f"The store {path} cannot be written: its folder is read-only.")


@contextmanager
def _alone(store: Path, path: Path) -> Iterator[None]:
    """Hold the lock of writers, which the system releases when its holder dies.

    Its file stays: who removed it could take it away from the next one.
    """
    lock = FileLock(store.with_name(f".{store.name}.lock"), timeout=0, mode=OWNER_ONLY)
    with plain_system_errors(path):
        lock.acquire()
    try:
        yield
    finally:
        lock.release()


def _clear_away(copy: Path) -> None:
    """Remove a copy, also one whose writer was killed, its log and what it spilled."""
    copy.unlink(missing_ok=True)
    _log_of(copy).unlink(missing_ok=True)
    shutil.rmtree(copy.with_name(f"{copy.name}.tmp"), ignore_errors=True)


def _log_of(file: Path) -> Path:
    return file.with_name(f"{file.name}.wal")


def _settle(store: Path, path: Path) -> None:
    """Bring into the store what another program left in a write-ahead log beside it."""
    if _log_of(store).exists():
        with plain_errors(path):
            duckdb.connect(str(store)).close()


def _require_room(store: Path, path: Path) -> None:
    needed, free = store.stat().st_size, shutil.disk_usage(store.parent).free
    if free < needed:
        raise StoreError(
            f"The disk is full: writing needs a copy of {path}, {needed / 1e6:,.1f} MB, and"
            f" {free / 1e6:,.1f} MB are free; nothing was changed.",
            try_next="again with more space",
        )


def _swap(copy: Path, store: Path, path: Path) -> None:
    """Put the copy in the store's place, both before and after a loss of power complete."""
    if _log_of(copy).exists():
        raise StoreError(f"The copy of {path} could not be completed: nothing was changed.")
    copy.chmod(OWNER_ONLY)
    _to_disk(copy, os.O_RDWR)
    _replace(copy, store, path)
    with suppress(OSError):  # the store is changed by now, and not every system can do this
        _to_disk(store.parent, os.O_RDONLY)


def _replace(copy: Path, store: Path, path: Path) -> None:
    """Move the copy over the store; where a reader's hold on it forbids that, try for a while."""
    for _ in range(TRIES):
        try:
            copy.replace(store)
            return
        except PermissionError:  # a system that replaces no open file
            time.sleep(WAIT)
    raise StoreError(
        f"The store {path} is open in another command or program: nothing was changed.",
        try_next="again when it is closed there",
    )


def _to_disk(place: Path, flags: int) -> None:
    file = os.open(place, flags)
    try:
        os.fsync(file)
    finally:
        os.close(file)
