"""`dwell measures`: the catalogue, or measures by month, quarter or group."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import measure_names
from pipeline.cli.options import (
    audience_option,
    db_option,
    format_option,
    from_option,
    quiet_option,
    settings_option,
    site_option,
    to_option,
)
from pipeline.cli.printing import print_frame, to_json

if TYPE_CHECKING:
    import polars as pl

    from pipeline.disclosure import Audience, Policy
    from pipeline.settings import Settings

WITHHELD_WORD = "withheld"


@click.command(epilog="Example: dwell measures dislodgement --by quarter --by site --format csv")
@click.argument("names", nargs=-1, metavar="[NAME]...", shell_complete=measure_names)
@click.option(
    "--by",
    multiple=True,
    metavar="COLUMN",
    default=("month",),
    show_default=True,
    help="month, quarter, site, surgeon_type, limb, nerve_target, age_band, "
    "interpreter_needed, ...; may be repeated. `all` gives one row a measure.",
)
@site_option
@from_option
@to_option
@audience_option
@db_option
@settings_option
@format_option
@quiet_option
def measures(
    *,
    names: tuple[str, ...],
    by: tuple[str, ...],
    sites: tuple[str, ...],
    first: str | None,
    last: str | None,
    audience: "Audience",
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """Print a measure by month, quarter or group.

    Without a NAME the catalogue is listed. An episode counts in its month of
    placement; a rate has Wilson limits where it is a proportion and exact Poisson
    limits where it is per catheter-day.
    """
    if not names:
        _print_catalogue(format_)
        return
    from pipeline.disclosure import Policy
    from pipeline.settings import load_settings

    values = load_settings(settings)
    policy = Policy.for_audience(audience, values)
    frame = _counts(db, names, _groups(by), sites=sites, months=(first, last), settings=values)
    shown = _with_rates(_withhold(frame, policy), _groups(by))
    if not quiet:
        click.echo(policy.note, err=True)
    if format_ == "table":
        print_frame(_as_table(shown))
    else:
        print_frame(shown, format_)


def _groups(by: Sequence[str]) -> list[str]:
    return [name for name in dict.fromkeys(by) if name != "all"]


def _print_catalogue(format_: str) -> None:
    from dataclasses import asdict

    import polars as pl

    from pipeline.measures.catalogue import load_catalogue

    cards = [asdict(measure) for measure in load_catalogue().values()]
    for card in cards:
        del card["sql"]
    if format_ == "json":
        click.echo(to_json(cards))
        return
    rows = [
        {
            "measure": card["name"],
            "kind": str(card["kind"]),
            "title": card["title"],
            "unit": card["unit"],
            "better": str(card["better"]),
            "chart": ", ".join(card["charts"]),
        }
        for card in cards
    ]
    print_frame(pl.DataFrame(rows), format_)


def _counts(
    db: Path,
    names: tuple[str, ...],
    by: list[str],
    *,
    sites: tuple[str, ...],
    months: tuple[str | None, str | None],
    settings: "Settings",
) -> "pl.DataFrame":
    from pipeline.cli.charting import check_site
    from pipeline.measures.catalogue import find_measure
    from pipeline.measures.periods import checked_months
    from pipeline.measures.series import series
    from pipeline.store import open_store

    chosen = [find_measure(name) for name in dict.fromkeys(names)]
    with open_store(db) as store:
        check_site(store, sites)
        return series(
            store,
            chosen,
            by,
            where={"site": list(sites)} if sites else None,
            months=checked_months(*months),
            settings=settings,
        )


def _withhold(frame: "pl.DataFrame", policy: "Policy") -> "pl.DataFrame":
    """Put null in the place of what few children stand behind."""
    import polars as pl

    from pipeline.disclosure import withheld_rows
    from pipeline.measures.catalogue import find_measure

    parts = []
    for part in frame.partition_by("measure", maintain_order=True):
        measure = find_measure(part["measure"][0])
        hidden = withheld_rows(
            policy,
            with_event=part["with_event"],
            episodes=part["ascertained"],
            is_proportion=measure.denominator_kind == "proportion",
        )
        figures, episodes = pl.lit(pl.Series(hidden.figures)), pl.lit(pl.Series(hidden.episodes))
        parts.append(
            part.with_columns(
                pl.when(~figures).then("numerator").alias("numerator"),
                *[
                    pl.when(~episodes).then(name).alias(name)
                    for name in ("denominator", "episodes", "ascertained")
                ],
            )
        )
    return pl.concat(parts)


def _with_rates(frame: "pl.DataFrame", by: list[str]) -> "pl.DataFrame":
    """Add the rate and its limits, in the order that scripts rely on."""
    import polars as pl

    from pipeline.analysis.rates.rates import rates
    from pipeline.measures.catalogue import find_measure

    parts = []
    for part in frame.partition_by("measure", maintain_order=True):
        measure = find_measure(part["measure"][0])
        known = part["numerator"].is_not_null()
        found = rates(
            part["numerator"].fill_null(0),
            part["denominator"].fill_null(0),
            kind=measure.denominator_kind,
            multiplier=measure.multiplier,
        )
        parts.append(
            part.with_columns(
                *[
                    pl.when(known).then(pl.Series(values).fill_nan(None)).alias(name)
                    for name, values in (
                        ("rate", found.rate),
                        ("lower", found.lower),
                        ("upper", found.upper),
                    )
                ],
                unit=pl.lit(measure.unit),
            )
        )
    return pl.concat(parts).select(
        "measure", *by, "numerator", "denominator", "episodes", "ascertained",
        "rate", "lower", "upper", "unit", "provisional",
    )  # fmt: skip


def _as_table(frame: "pl.DataFrame") -> "pl.DataFrame":
    """Return the rows in words: what is withheld says so, zero events have only an upper limit."""
    import polars as pl

    def rate_of(row: dict[str, Any]) -> str:
        if row["numerator"] is None:
            return WITHHELD_WORD
        if row["rate"] is None:
            return ""
        return f"{row['rate']:.3g} ({row['lower']:.3g} to {row['upper']:.3g})"

    counts = [
        pl.when(pl.col(name).is_null())
        .then(pl.lit(WITHHELD_WORD))
        .otherwise(pl.col(name).round(1).cast(pl.String).str.strip_suffix(".0"))
        .alias(name)
        for name in ("numerator", "denominator", "episodes", "ascertained")
    ]
    limits = pl.Series("rate (95% limits)", [rate_of(row) for row in frame.to_dicts()])
    return (
        frame.with_columns(*counts)
        .with_columns(limits)
        .drop("rate", "lower", "upper")
        .select(pl.exclude("unit", "provisional"), "unit", "provisional")
    )
