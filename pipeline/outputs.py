"""Files that a command writes: made beside their place, and moved there once they are whole.

Whatever goes wrong meanwhile (a full disk, a signal, a fault), the file of before stays as it
was. A process that is killed leaves a part, which the next one that writes there clears away.
"""

import glob
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.errors import RenderError

OWNER_ONLY = 0o600
_PART = ".writing-"
_SCRATCH = "scratch"
# What a spreadsheet program would run, obey, or take for our own mark; numbers are left alone.
_RUN = re.compile("[=+\\-@'\\x00-\\x1f]")
_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")


def spreadsheet_text(value: str) -> str:
    """Return a cell of a CSV file that a spreadsheet shows and does not run.

    A cell that begins with ``= + - @``, a control character or an apostrophe has one more
    apostrophe before it, so that taking one away gives every cell back.
    """
    return f"'{value}" if _RUN.match(value) and not _NUMBER.fullmatch(value) else value


@contextmanager
def written_beside(path: Path) -> Iterator[Path]:
    """Give a path to write to; what is there takes the place of `path` when the block ends.

    Its suffix is that of `path`. What is no ordinary file, such as a pipe, is written as it is.

    Parameters
    ----------
    path : Path
        The file; of a symbolic link, the one that it leads to is replaced.

    Raises
    ------
    RenderError
        It cannot be written; the previous one is left in place.
    """
    place = path.resolve() if path.is_symlink() else path
    if place.exists() and not place.is_file():
        with plain_output_errors(path):
            yield place
        return
    part = place.with_name(f"{_PART}{os.getpid()}-{place.name}")
    try:
        with plain_output_errors(path):
            _clear_left(place)
            part.touch(OWNER_ONLY)
            yield part
            _to_disk(part)
            part.replace(place)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


@contextmanager
def folder_beside(path: Path) -> Iterator[Path]:
    """Give a folder to fill, which becomes the new folder `path` when the block ends.

    Raises
    ------
    RenderError
        There is such a folder with something in it, or it cannot be written.
    """
    part = path.with_name(f"{_PART}{os.getpid()}-{path.name}")
    try:
        with plain_output_errors(path):
            if path.exists() and (not path.is_dir() or any(path.iterdir())):
                raise RenderError(f"{path} is not empty.", try_next="a new folder")
            path.parent.mkdir(parents=True, exist_ok=True)
            _clear_left(path)
            part.mkdir(mode=0o700)
            yield part
            for file in part.iterdir():
                _to_disk(file)
            if path.exists():
                path.rmdir()
            part.replace(path)
    finally:
        shutil.rmtree(part, ignore_errors=True)


@contextmanager
def scratch_folder(place: Path) -> Iterator[Path]:
    """Give a hidden folder in `place` to make files in, which goes when the block ends.

    What killed processes have left there is cleared away first.
    """
    folder = place / f"{_PART}{os.getpid()}-{_SCRATCH}"
    _clear_left(place / _SCRATCH)
    folder.mkdir(mode=0o700)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def plain_output_errors(path: Path) -> Iterator[None]:
    """Raise `RenderError` for whatever the system raises while `path` is written."""
    try:
        yield
    except OSError as error:
        why = error.strerror or "the system refuses it"
        raise RenderError(f"{path} cannot be written: {why}; it is as it was.") from None


def _clear_left(place: Path) -> None:
    """Remove the parts that killed processes have left of this file."""
    for left in place.parent.glob(f"{_PART}*-{glob.escape(place.name)}"):
        if not _lives(left.name.removeprefix(_PART).split("-")[0]):
            with suppress(OSError):
                shutil.rmtree(left) if left.is_dir() else left.unlink()


def _lives(number: str) -> bool:
    """Whether a process runs; where that cannot be asked, it is taken to."""
    if os.name != "posix" or not number.isdigit():
        return True
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _to_disk(part: Path) -> None:
    with part.open("rb+") as file:
        os.fsync(file.fileno())
