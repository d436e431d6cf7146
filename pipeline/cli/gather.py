"""`dwell gather`: count where the records are, and bring the counts back."""

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import quiet_option, settings_option
from pipeline.measures.dimensions import COMPARED_BY

ENGINES = ("duckdb", "spark", "postgres")


@click.command(epilog="Example: dwell gather --engine duckdb --records lake/ --out counts.duckdb")
@click.option("--engine", type=click.Choice(ENGINES), required=True, help="What runs the SQL.")
@click.option(
    "--records",
    required=True,
    metavar="PLACE",
    help="A folder with a Parquet file, or a folder of parts, for each record.",
)
@click.option(
    "--out", required=True, type=click.Path(dir_okay=False, path_type=Path),
    help="The store of counts.",
)  # fmt: skip
@click.option("--as-of", metavar="YYYY-MM-DD", help="Date of extraction; today unless given.")
@click.option(
    "--compare",
    "adjusted",
    multiple=True,
    type=click.Choice(COMPARED_BY),
    default=("site",),
    show_default=True,
    help="Groups to be compared with allowance for case mix; may be repeated.",
)
@click.option(
    "--confirm-titles",
    is_flag=True,
    help="Titles, labels and site codes were read: they name nobody.",
)
@settings_option
@quiet_option
def gather(
    *,
    engine: str,
    records: str,
    out: Path,
    as_of: str | None,
    adjusted: tuple[str, ...],
    confirm_titles: bool,
    settings: Path | None,
    quiet: bool,
) -> None:
    """Count where the records are, and bring the counts back.

    For records that outgrow one machine, or may not leave where they are: the same SQL runs
    there, and only counts come back. From the store written, measures, chart, signals,
    compare, change and removal print what they would from the records, with --db. What needs
    single episodes says so.
    """
    from pipeline.cli.load import day_of
    from pipeline.measures.gather import gather as bring
    from pipeline.settings import load_settings
    from pipeline.words.numbers import count

    def tell(what: str) -> None:
        if not quiet:
            click.echo(f"Counting {what}", err=True)

    left_out = bring(
        engine,
        records,
        out,
        as_of=day_of(as_of) if as_of else dt.date.today(),
        settings=load_settings(settings),
        adjusted=adjusted,
        confirmed=confirm_titles,
        progress=tell,
    )
    if not quiet:
        for name, rows in left_out.items():
            if rows:
                click.echo(f"Left out of {name}: {count(rows, 'row')} against a rule.", err=True)
        click.echo(f"The counts are in {out}.", err=True)
