"""What the command is given by the shell: its streams, its signals, the folder it stands in."""

import errno
import io
import os
import re
import signal
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any, TextIO, cast

import click

from pipeline.errors import InputError

# What the system says of an output that takes no more, or was closed.
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF}
# What a terminal would obey, and what turns the direction of writing; but for the few signs
# that draw a progress bar, and for new lines and tabs.
_OBEYED = re.compile(
    "\x1b\\[(?:\\?25[lh]|K)|"
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]"
)
_DRAWN = {"\x1b[?25l", "\x1b[?25h", "\x1b[K"}


def printable(text: str) -> str:
    """Return a text in which no sign is left that a terminal would obey."""
    return _OBEYED.sub(
        lambda found: found[0] if found[0] in _DRAWN else "\N{REPLACEMENT CHARACTER}", text
    )


@contextmanager
def _leaving_quietly() -> Iterator[None]:
    """End the command where its reader (a pager, `head`) has gone: that is not an error."""
    try:
        yield
    except BrokenPipeError:
        forget_output()
        raise click.exceptions.Exit(0) from None


class _Printing:
    """A stream that passes on what is printable, and cannot be made to drive the terminal."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text`; its control signs are replaced."""
        with _leaving_quietly():
            return self._stream.write(printable(text))

    def flush(self) -> None:
        """Pass on what is held."""
        with _leaving_quietly():
            self._stream.flush()

    def writelines(self, lines: Iterable[str]) -> None:
        """Write several texts as `write` does."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """Give everything else from the stream itself."""
        return getattr(self._stream, name)


class _Closed(io.TextIOBase):
    """In the place of a stream that the shell has closed."""

    def write(self, text: str) -> int:
        """Refuse, as the system would."""
        raise OSError(errno.EBADF, "it is closed")


def keep_streams() -> None:
    """Hold the numbers of closed streams, so that no file gets one; print nothing that drives."""
    for number in (0, 1, 2):
        with suppress(OSError):
            os.fstat(number)
            continue
        os.open(os.devnull, os.O_RDWR)  # the lowest free number: this one
    sys.stdout = cast(TextIO, _Printing(sys.stdout) if sys.stdout else _Closed())
    sys.stderr = cast(TextIO, _Printing(sys.stderr) if sys.stderr else io.StringIO())


def forget_output() -> None:
    """Send what is left to print nowhere: it cannot be written."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def note_stops() -> list[int]:
    """Return a list that stays empty until somebody asks to stop, which raises.

    Ctrl-C, the end of the terminal and a plain `kill` are alike: what was begun is put away.
    """
    seen: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        seen.append(number)
        raise KeyboardInterrupt

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)  # a system may not have it
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, note)
    return seen


def require_working_folder() -> None:
    """Refuse to work where there is no folder any more; raises `InputError`."""
    try:
        os.getcwd()
    except OSError:
        raise InputError("The folder that you are in is gone.", try_next="cd, then again") from None
