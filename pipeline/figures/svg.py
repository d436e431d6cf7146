"""SVG as matplotlib writes it, made shorter without a change to what is seen.

A report holds dozens of figures in one page, so every byte of one counts.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_PLACES = 2  # a hundredth of a point is well below what is seen

_PATH = re.compile(r'(?<= d=")[^"]*')
_STYLE = re.compile(r'(?<= style=")[^"]*')
_COMMAND = re.compile(r"([A-Za-z])([^A-Za-z]*)")
_PLACED = re.compile(r'(?<= [xy]=")[^"]*|(?<=translate\()[^)]*')
_LEFT_OUT = re.compile(r"<!DOCTYPE[^>]*>|<!--.*?-->|<metadata>.*?</metadata>", re.DOTALL)
_NUMBER = re.compile(r"-?\d+\.\d+")


def compact(svg: str) -> str:
    """Return the same picture in fewer bytes.

    Lines along an axis are written by the one coordinate that moves, those that go on
    in one direction become one, coordinates have two decimals, and what no viewer
    draws (metadata, names of groups, white space) goes.

    Parameters
    ----------
    svg : str
        A figure with its text as paths, in absolute coordinates.
    """
    found = _LEFT_OUT.sub("", svg)
    found = re.sub(r'<g id="[^"]*"', "<g", found)
    found = re.sub(r">\s+<", "><", found)
    found = _STYLE.sub(lambda m: re.sub(r"([:;]) ", r"\1", m[0]), found)
    found = _PLACED.sub(lambda m: _rounded(m[0]), found)
    return _PATH.sub(lambda m: _path(m[0]), found)


def _rounded(text: str) -> str:
    return _NUMBER.sub(lambda m: _short(float(m[0])), text)


def _short(value: float) -> str:
    text = f"{value:.{_PLACES}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _path(path: str) -> str:
    """Write a path shorter; `M` and `L` move to a point, other commands end at their last."""
    written: list[str] = []
    at: list[str] = []  # where the pen is
    moved: tuple[str, bool] | None = None  # the last step along an axis, and whether it grew
    for command, numbers in _COMMAND.findall(path):
        to = _rounded(numbers).split()
        if command == "L" and to == at and not written[-1].startswith("M"):
            continue  # a line that goes nowhere; the first is kept, it may be a dot
        step = _along(at, to) if command == "L" and len(at) == 2 else None
        if step is None:
            written.append(command + " ".join(to))
            moved, at = None, to[-2:]
            continue
        axis, value, grows = step
        if moved == (axis, grows):
            written.pop()
        written.append(axis + value)
        moved, at = (axis, grows), to
    return "".join(written)


def _along(at: Sequence[str], to: Sequence[str]) -> tuple[str, str, bool] | None:
    """Return the axis along which a line goes, where to, and whether it grows."""
    if at[1] == to[1] and at[0] != to[0]:
        return "H", to[0], float(to[0]) > float(at[0])
    if at[0] == to[0] and at[1] != to[1]:
        return "V", to[1], float(to[1]) > float(at[1])
    return None
