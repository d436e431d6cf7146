"""``python -m synthetic_data FOLDER`` writes a folder of invented records."""

import click

from synthetic_data.folder import DEFAULT_SEED, write_folder
from synthetic_data.writer import FORMATS


@click.command(epilog="Example: python -m synthetic_data demo/records --episodes 6000")
@click.argument("folder", type=click.Path(file_okay=False))
@click.option("--episodes", type=click.IntRange(min=1), help="Number of episodes.")
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=DEFAULT_SEED,
    show_default=True,
    help="The same seed gives the same files.",
)
@click.option("--format", "file_format", type=click.Choice(FORMATS), default="csv")
@click.option("--sites", type=click.IntRange(min=1), help="Number of sites.")
@click.option("--months", type=click.IntRange(min=1, max=396), help="Number of months.")
@click.option("--late", is_flag=True, help="Hold back late records for FOLDER/late.")
@click.option("--with-faults", is_flag=True, help="Add rows that break a rule each (CSV).")
@click.option("--site-exports", is_flag=True, help="Two sites in their own layouts.")
def main(
    folder: str,
    *,
    episodes: int | None,
    seed: int,
    file_format: str,
    sites: int | None,
    months: int | None,
    late: bool,
    with_faults: bool,
    site_exports: bool,
) -> None:
    """Write invented records of an invented network to FOLDER.

    Nothing in them describes a real hospital, family or child.
    """
    try:
        written = write_folder(
            folder,
            episodes=episodes,
            seed=seed,
            format=file_format,
            sites=sites,
            months=months,
            late=late,
            with_faults=with_faults,
            site_exports=site_exports,
        )
    except (ValueError, OSError) as error:
        raise click.ClickException(str(error)) from error
    counts = ", ".join(f"{name} {rows:,}" for name, rows in written.rows.items())
    click.echo(f"Wrote to {written.folder}: {counts} rows (all invented).", err=True)


if __name__ == "__main__":
    main()
