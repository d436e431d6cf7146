"""What is known of how good the data are, ready to show."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.figures.completeness import FieldShare


@dataclass(frozen=True, slots=True)
class FileRows:
    """What became of the rows of one kind of file, over all loads."""

    file: str
    read: int
    loaded: int
    unchanged: int
    set_aside: int


@dataclass(frozen=True, slots=True)
class WaitingRows:
    """Rows that wait for correction, by the rule that they break."""

    file: str
    column: str
    rule: str
    rows: int


@dataclass(frozen=True, slots=True)
class SiteQuality:
    """What is known of one site's catheters in the quarter."""

    site: str
    catheters: int
    dwell_known: int
    reason_known: int
    removed: int
    calls: int
    reached: int


@dataclass(frozen=True, slots=True)
class MovedFigure:
    """A figure of a frozen quarter that later records changed."""

    quarter: str
    title: str
    published: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class DataQuality:
    """All that section 6 shows.

    Attributes
    ----------
    files, waiting, sites : tuples
        Rows by kind of file, rows that wait, and what is known by site.
    fields : tuple of FieldShare
        Completeness of the quarter's fields by site.
    moved : tuple of MovedFigure
        Figures of frozen quarters that are others now.
    frozen : tuple of str
        Quarters whose figures are kept as published.
    """

    files: tuple[FileRows, ...]
    waiting: tuple[WaitingRows, ...]
    sites: tuple[SiteQuality, ...]
    fields: tuple[FieldShare, ...] = ()
    moved: tuple[MovedFigure, ...] = ()
    frozen: tuple[str, ...] = ()
