"""`dwell load`: bring records into the store."""

import datetime as dt
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import db_option, quiet_option
from pipeline.errors import UsageError
from pipeline.words.numbers import count

if TYPE_CHECKING:
    from pipeline.records.mapping import Mapping
    from pipeline.store.checks import CheckFinding
    from pipeline.store.load import LoadResult, Progress

EPILOG = "Example: dwell load records/ --as-of 2026-01-15"


@click.command(epilog=EPILOG)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--as-of", metavar="YYYY-MM-DD", help="Date of extraction; today unless given.")
@click.option(
    "--mapping",
    "mapping_path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The site's mapping (TOML); mapping.toml in FOLDER where there is one.",
)
@click.option(
    "--confirm-titles",
    is_flag=True,
    help="Titles, labels and site codes were read: they name nobody.",
)
@db_option
@quiet_option
def load(
    folder: Path,
    *,
    as_of: str | None,
    mapping_path: Path | None,
    confirm_titles: bool,
    db: Path,
    quiet: bool,
) -> None:
    """Load a folder of records into the store.

    All or nothing; FOLDER may be a single file too. Rows that break a rule are set
    aside, never lost, and the summary on stderr says how many and why. The same file
    twice changes nothing; a later file corrects.
    """
    from pipeline.records.folder import find_sources
    from pipeline.store.load import load_files

    day = day_of(as_of) if as_of else None
    mapping = mapping_of(folder, mapping_path)
    sources = find_sources(folder, mapping)
    with _progress(sum(source.size for source in sources), quiet) as progress:
        result = load_files(
            db,
            sources,
            as_of=day,
            mapping=mapping,
            titles_confirmed=confirm_titles,
            progress=progress,
        )
    if not quiet:
        click.echo("\n".join(summary(result)), err=True)


def mapping_of(place: Path, given: Path | None) -> "Mapping | None":
    """Read the mapping that was named, or the one that lies in the folder."""
    from pipeline.records.folder import MAPPING_FILE
    from pipeline.records.mapping_file import load_mapping

    if given is None and not (place / MAPPING_FILE).is_file():
        return None
    return load_mapping(given or place / MAPPING_FILE)


def day_of(text: str) -> dt.date:
    """Read a date of extraction; raises `UsageError`."""
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise UsageError("--as-of is a date, YYYY-MM-DD.") from None
    if day > dt.date.today():
        raise UsageError("--as-of lies in the future.")
    return day


@contextmanager
def _progress(size: int, quiet: bool) -> "Iterator[Progress]":
    """Draw a bar on stderr where that is a terminal."""
    hidden = quiet or not sys.stderr.isatty()
    with click.progressbar(length=size, file=sys.stderr, show_pos=False, hidden=hidden) as bar:

        def tell(what: str, done: int) -> None:
            bar.label = what or bar.label
            bar.update(done)

        yield tell


def summary(result: "LoadResult") -> list[str]:
    """Say what a load did, a line a file, and why rows were set aside."""
    nothing = "Nothing new: the store is unchanged."
    lines = [nothing if result.load_id is None else f"Load {result.load_id}"]
    for file in result.files:
        lines.append(
            f"  {file.file_name}: {count(file.rows_in, 'row')} in = {file.new:,} new"
            f" + {file.corrected:,} corrected + {file.unchanged:,} unchanged"
            f" + {file.set_aside:,} set aside"
        )
    for fault in result.faults:
        column = f"{fault.column}: " if fault.column else ""
        lines.append(
            f"  set aside: {fault.rows:,} of {fault.file_name}: {column}{fault.rule}"
            f" (first in row {fault.first_row:,})"
        )
    if result.cleared:
        lines.append(f"  cleared: {count(result.cleared, 'row')} set aside earlier")
    return lines + warnings(result.findings)


def warnings(findings: "Sequence[CheckFinding]") -> list[str]:
    """Say what the checks found, a line a check, with the rows at each site."""
    titles = dict.fromkeys(finding.title for finding in findings)
    return [
        f"  warning: {title}: "
        + ", ".join(f"{f.rows:,} at {f.site or 'no site'}" for f in findings if f.title == title)
        for title in titles
    ]
