"""`dwell pseudonymise`: the de-identified files of a site, made on its own machine."""

from pathlib import Path

import click

from pipeline.cli.options import quiet_option
from pipeline.words.numbers import count

EPILOG = "Example: dwell pseudonymise raw/ --mapping mapping.toml --key-file site.key --out safe/"
CAUTION = (
    "Months of placement stay, so this is a limited data set, not an anonymous one:"
    " the local privacy officer decides what may leave the site."
)


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--mapping",
    "mapping_path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The site's mapping (TOML); mapping.toml in the folder where there is one.",
)
@click.option(
    "--key-file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File with the site's secret key; the variable DWELL_KEY unless given.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="The folder to make.",
)
@quiet_option
def pseudonymise(
    file: Path, mapping_path: Path | None, key_file: Path | None, out: Path, quiet: bool
) -> None:
    """De-identify a site's raw export.

    FILE is one export or a folder of them. Identifiers become keyed hashes, clock times
    become hours since placement, ages whole years; everything that is not in the layout
    is dropped, and said. The key is never stored: keep it, as the same key gives the
    same hashes next time.
    """
    from pipeline.cli.load import mapping_of
    from pipeline.records.folder import find_sources
    from pipeline.records.keys import read_key
    from pipeline.store.pseudonymise import pseudonymise_files

    key = read_key(key_file)
    sources = find_sources(file, mapping_of(file, mapping_path))
    files = list(pseudonymise_files(sources, out, key))
    if quiet:
        return
    for made in files:
        click.echo(f"{made.path}: {count(made.rows, 'row')}", err=True)
        if made.dropped:
            click.echo(f"  dropped: {', '.join(made.dropped)}", err=True)
        for name, cells in made.left_empty.items():
            left = f"{count(cells, 'value')} left empty, as not to be read"
            click.echo(f"  {name}: {left}", err=True)
    click.echo(CAUTION, err=True)
