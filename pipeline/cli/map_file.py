"""`dwell map`: draft a site's mapping from one of its exports."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import quiet_option
from pipeline.errors import UsageError
from pipeline.outputs import written_beside
from pipeline.records.layout import RECORDS

if TYPE_CHECKING:
    from pipeline.records.drafting import Draft


@click.command("map", epilog="Example: dwell map placements.csv --out mapping.toml")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--record", type=click.Choice(list(RECORDS)), help="What the file holds; guessed unless given."
)
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), help="Write the draft to this file."
)
@quiet_option
def map_file(file: Path, record: str | None, out: Path | None, quiet: bool) -> None:
    """Draft a site's mapping from an export.

    The draft goes to stdout, or to --out, and is meant to be edited: what could not be
    matched is listed on stderr, and left ignored or as a comment in the draft. The draft
    quotes values of columns that hold codes.
    """
    from pipeline.records.drafting import draft_mapping
    from pipeline.store.sampling import sample_columns

    if out is not None and out.exists():
        raise UsageError(f"{out} exists already; it is left as it is.", try_next="another --out")
    result = draft_mapping(file.name, sample_columns(file), record)
    if out is None:
        click.echo(result.text, nl=False)
    else:
        with written_beside(out) as part:
            part.write_text(result.text, encoding="utf-8")
    if not quiet:
        _tell(file.name, result)


def _tell(file_name: str, result: "Draft") -> None:
    """Say on stderr what the file is taken for, and what could not be matched."""
    click.echo(f"{file_name} is taken to hold {result.record}.", err=True)
    for name in result.without_source:
        click.echo(f"  no column found for {name}, which is needed", err=True)
    for name, count in result.values_unmatched.items():
        click.echo(f"  {name}: {count} spellings not matched", err=True)
    for name in result.unmatched:
        click.echo(f"  column {name} is not matched: ignored", err=True)
