"""A second process beside this one: it collects and draws, each taking what it can."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from pipeline.children import end_with_parent

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing

Given = ParamSpec("Given")
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class _Due:
    """A figure that the other process draws, unless this one gets to it first."""

    drawn: Future[None]
    picture: Drawing
    path: Path


class SecondProcess:
    """Work in this process and one beside it; with one core, in this alone.

    The other is started at once, so that it loads its libraries while this one does.

    Parameters
    ----------
    cores : int, optional
        Cores that may be used; all that this process may use unless given.
    """

    def __init__(self, cores: int | None = None) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self._due: list[_Due] = []
        if (_cores() if cores is None else cores) > 1:
            self._pool = ProcessPoolExecutor(
                1,
                mp_context=get_context("spawn"),
                initializer=end_with_parent,
                initargs=(os.getpid(),),
            )
            self._pool.submit(_ready)

    def call(
        self, function: Callable[Given, Found], *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Found]:
        """Call a function of a module in the other process, or here where there is none."""
        if self._pool is not None:
            return self._pool.submit(function, *args, **kwargs)
        done: Future[Found] = Future()
        done.set_result(function(*args, **kwargs))
        return done

    def draw(self, picture: Drawing, path: Path) -> None:
        """Draw a figure into a file, now or before `finish` returns."""
        packed = _packed(picture) if self._pool is not None else None
        if self._pool is None or packed is None:
            picture.save(path)
        else:
            drawn = self._pool.submit(_draw, packed, path.resolve())
            self._due.append(_Due(drawn, picture, path))

    def finish(self) -> None:
        """Draw what is left, from the end, until the two meet.

        Raises
        ------
        RenderError
            A figure could not be written.
        """
        try:
            for due in reversed(self._due):
                if due.drawn.cancel():
                    due.picture.save(due.path)
            for due in self._due:
                if not due.drawn.cancelled():
                    due.drawn.result()
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


def _packed(picture: Drawing) -> bytes | None:
    """Return a figure as it travels; None for one that has to be drawn where it is.

    A scale of colours by hand holds a function that cannot travel.
    """
    try:
        return pickle.dumps(picture)
    except (AttributeError, TypeError, pickle.PicklingError):
        return None


def _draw(packed: bytes, path: Path) -> None:
    picture = pickle.loads(packed)
    picture.save(path)
