"""How good the records are: rows, rows that wait, completeness, published figures that moved."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import site_labels
from pipeline.measures.published import drift, frozen_quarters
from pipeline.settings import Settings
from pipeline.store import Store, holdings
from pipeline.store.completeness import completeness, known_by_site

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing

WHOLE = 0.95  # from this share on a field counts as complete


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
class FieldShare:
    """Share of the rows that should have a field and do; None where none should."""

    field: str
    site: str
    share: float | None


@dataclass(frozen=True, slots=True)
class MovedFigure:
    """A figure of a frozen quarter, of all sites together, that later data changed."""

    quarter: str
    title: str
    published: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class DataQuality:
    """How good the records of a quarter are.

    Attributes
    ----------
    files, waiting, sites : tuples
        Rows by kind of file, rows that wait, and what is known by site.
    fields : tuple of FieldShare
        Completeness of the quarter's fields by site; those that are whole
        everywhere are left out.
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

    def frame(self) -> pl.DataFrame:
        """Return a row a site: catheters, and how many of them are known."""
        import polars as pl

        return pl.DataFrame([asdict(site) for site in self.sites])

    def figure(self) -> Drawing:
        """Draw completeness by field and site."""
        from pipeline.figures.completeness import completeness_figure

        return completeness_figure(self.fields)

    def as_json(self) -> dict[str, Any]:
        """Return everything as plain values."""
        return asdict(self)


def data_quality(store: Store, quarter: str, settings: Settings) -> DataQuality:
    """Return how good the records of a quarter are.

    Parameters
    ----------
    store : Store
        An open store.
    quarter : str
        The quarter whose completeness is shown, such as ``2025-Q4``.
    settings : Settings
        The programme's settings.
    """
    frozen = frozen_quarters(store)
    return DataQuality(
        files=tuple(FileRows(*row) for row in holdings.rows_by_file(store)),
        waiting=_waiting(store),
        sites=tuple(SiteQuality(*row) for row in known_by_site(store, quarter)),
        fields=_fields(store, quarter),
        moved=_moved(store, settings) if frozen else (),
        frozen=frozen,
    )


def _fields(store: Store, quarter: str) -> tuple[FieldShare, ...]:
    labels = site_labels(store)
    rows = completeness(store, quarter).sort("site").to_dicts()
    low = {row["field"] for row in rows if row["share"] is not None and row["share"] < WHOLE}
    return tuple(
        FieldShare(row["field"], labels.get(row["site"], row["site"]), row["share"])
        for row in sorted(rows, key=lambda row: row["record"] != "episode")
        if row["field"] in low
    )


def _moved(store: Store, settings: Settings) -> tuple[MovedFigure, ...]:
    cards = load_catalogue(settings)
    return tuple(
        MovedFigure(
            quarter=row["quarter"],
            title=cards[row["measure"]].title if row["measure"] in cards else row["measure"],
            published=_ratio(row["published_numerator"], row["published_denominator"]),
            now=_ratio(row["numerator"], row["denominator"]),
            why=row["why"],
        )
        for row in drift(store, settings=settings).to_dicts()
        if row["site"] == ALL
    )


def _ratio(numerator: float | None, denominator: float | None) -> str:
    return "none" if denominator is None else f"{numerator or 0:,} / {denominator:,.0f}"


def _waiting(store: Store) -> tuple[WaitingRows, ...]:
    found: dict[tuple[str, str, str], int] = {}
    for row in holdings.set_aside(store).to_dicts():
        key = (row["record"], row["column"] or "", row["rule"])
        found[key] = found.get(key, 0) + row["rows"]
    ordered = sorted(found.items(), key=lambda entry: (entry[0][0], -entry[1], entry[0]))
    return tuple(WaitingRows(*key, rows) for key, rows in ordered)
