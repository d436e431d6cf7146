"""Figures drawn in a process of its own beside this one, each taking what it can."""

from __future__ import annotations

import os
import pickle
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from pipeline.figures.look import Drawing
from pipeline.figures.sparkline import Sparkline

WAITING = 2  # figures that may wait for the other process before this one draws too


class Artists:
    """Draw figures in this process and one beside it; with one core, in this alone.

    The other is started before the store is read, so that it has its libraries by
    the time of the first figure.
    """

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self._due: list[Future[None]] = []
        if _cores() > 1:
            self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"))
            self._due.append(self._pool.submit(_ready))

    def draw(self, picture: Drawing | Sparkline, path: Path) -> None:
        """Draw a figure into a file, at once or soon."""
        waiting = sum(not drawn.done() for drawn in self._due)
        packed = _packed(picture) if self._pool is not None and waiting < WAITING else None
        if self._pool is None or packed is None:
            picture.save(path)
        else:
            self._due.append(self._pool.submit(_draw, packed, path.resolve()))

    def finish(self) -> None:
        """Wait for every figure.

        Raises
        ------
        RenderError
            A figure could not be written.
        """
        try:
            for drawn in self._due:
                drawn.result()
        finally:
            self.leave()

    def leave(self) -> None:
        """End the other process, whatever is left to draw."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
        self._pool, self._due = None, []


def _cores() -> int:
    """Return the cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _ready() -> None:
    """Load the libraries."""
    import pipeline.figures.control_chart  # noqa: F401


def _packed(picture: Drawing | Sparkline) -> bytes | None:
    """Return a figure as it travels; None for one that is better drawn where it is.

    A small line is a few lines of text; a scale of colours by hand holds a function
    that cannot travel.
    """
    if isinstance(picture, Sparkline):
        return None
    try:
        return pickle.dumps(picture)
    except (AttributeError, TypeError, pickle.PicklingError):
        return None


def _draw(packed: bytes, path: Path) -> None:
    picture: Drawing = pickle.loads(packed)
    picture.save(path)
