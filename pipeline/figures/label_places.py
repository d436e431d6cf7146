"""Where to write names beside points, so that they cross no line and no other name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Of a sans-serif letter, by the size of the text in points.
LETTER_CM, LINE_CM = 0.0195, 0.042
GAP_CM = 0.12  # from a point's middle to its name
# What a name may meet, the worst first.
OUTSIDE, NAME, POINT, LINE = 1000.0, 60.0, 25.0, 10.0


AXIS_CM = (1.5, 1.5)  # about what axes and their titles take of a figure's width and height


@dataclass(frozen=True)
class Frame:
    """The ends of both axes, and the size of the figure round them in centimetres."""

    left: float
    right: float
    bottom: float
    top: float
    size: tuple[float, float]

    @property
    def panel(self) -> tuple[float, float]:
        """Width and height between the axes."""
        return self.size[0] - AXIS_CM[0], self.size[1] - AXIS_CM[1]

    def centimetres(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return where values stand, from the panel's lower left; shape (values, 2)."""
        width, height = self.panel
        across = (np.asarray(x, float) - self.left) / (self.right - self.left) * width
        up = (np.asarray(y, float) - self.bottom) / (self.top - self.bottom) * height
        return np.column_stack(np.broadcast_arrays(across, up))

    def values(self, across: float, up: float) -> tuple[float, float]:
        """Return the values at a place."""
        width, height = self.panel
        return (
            self.left + across / width * (self.right - self.left),
            self.bottom + up / height * (self.top - self.bottom),
        )


@dataclass(frozen=True)
class Place:
    """A name's corner or edge, in centimetres from the panel's lower left."""

    x: float
    y: float
    ha: str
    va: str


# Right above first, as a reader looks for it there; then what is nearly as near.
_SIDES = (
    (1, 1, "left", "bottom"),
    (1, -1, "left", "top"),
    (-1, 1, "right", "bottom"),
    (-1, -1, "right", "top"),
    (0, 1.3, "center", "bottom"),
    (0, -1.3, "center", "top"),
    (1.5, 0, "left", "center"),
    (-1.5, 0, "right", "center"),
)


def places(
    points: Floats,
    names: Sequence[str],
    *,
    lines: Sequence[Floats],
    taken: Sequence[tuple[float, float, float, float]] = (),
    panel: tuple[float, float],
    size: float,
) -> list[Place]:
    """Place each name on the side of its point where it meets least.

    Parameters
    ----------
    points : float array, shape (points, 2)
        In centimetres from the panel's lower left.
    names : sequence of str, one a point
        Empty where a point has none.
    lines : sequence of float arrays, each of shape (vertices, 2)
        Dense enough that one with a vertex in no name crosses none.
    taken : sequence of tuple
        Left, right, bottom and top of what is written there already.
    panel : tuple of float
        Width and height in centimetres.
    size : float
        Of the text, in points.

    Returns
    -------
    list of Place, one a point
    """
    boxes = list(taken)
    vertices = np.vstack([np.empty((0, 2)), *lines])
    found = []
    for point, name in zip(points, names, strict=True):
        options = [_box(point, name, size, side) for side in _SIDES]
        costs = [
            _cost(box, boxes, points, vertices, panel) + k if name else 0.0
            for k, (box, _) in enumerate(options)
        ]
        box, place = options[int(np.argmin(costs))]
        found.append(place)
        if name:
            boxes.append(box)
    return found


Box = tuple[float, float, float, float]


def _box(
    point: Floats, name: str, size: float, side: tuple[float, float, str, str]
) -> tuple[Box, Place]:
    right, up, ha, va = side
    width, height = LETTER_CM * size * len(name), LINE_CM * size
    x, y = float(point[0]) + right * GAP_CM, float(point[1]) + up * GAP_CM
    left = x - {"left": 0.0, "center": width / 2, "right": width}[ha]
    bottom = y - {"bottom": 0.0, "center": height / 2, "top": height}[va]
    return (left, left + width, bottom, bottom + height), Place(x, y, ha, va)


def _cost(
    box: Box,
    boxes: Sequence[Box],
    points: Floats,
    vertices: Floats,
    panel: tuple[float, float],
) -> float:
    left, right, bottom, top = box
    outside = left < 0 or right > panel[0] or bottom < 0 or top > panel[1]
    names = sum(left < r and l < right and bottom < t and b < top for l, r, b, t in boxes)  # noqa: E741
    return (
        OUTSIDE * outside
        + NAME * names
        + POINT * _within(box, points)
        + LINE * min(_within(box, vertices), 3)
    )


def _within(box: Box, at: Floats) -> int:
    left, right, bottom, top = box
    x, y = at[:, 0], at[:, 1]
    return int(np.count_nonzero((x > left) & (x < right) & (y > bottom) & (y < top)))
