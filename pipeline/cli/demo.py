"""`dwell demo`: the whole way from records to the report, on invented records."""

import shutil
from pathlib import Path

import click

from pipeline.cli.options import quiet_option
from pipeline.errors import InputError

QUARTER, PUBLISHED = "2025-Q4", "2025-Q3"
AS_OF = "2026-01-06"  # some days into the new year: the latest month is still provisional
SETTINGS = """# The invented network's own choices; every setting has a default.
network = "The Estuary Network (invented records)"

[targets]
dislodgement = 6.0
leakage = 6.0
daily_contact = 90.0
answered_in_time = 85.0
"""
MARK = "INVENTED"  # the file that tells a demonstration from anybody's own folder
MARK_TEXT = "Everything in this folder is invented. `dwell demo` replaces it.\n"


@click.command(epilog="Example: dwell demo demo && dwell status --db demo/dwell.duckdb")
@click.argument("folder", type=click.Path(path_type=Path), default="demo")
@click.option("--seed", type=click.IntRange(min=0), help="Another seed makes other records.")
@click.option(
    "--report/--no-report",
    "with_report",
    default=True,
    show_default=True,
    help="Render the report, or do not.",
)
@quiet_option
@click.pass_context
def demo(
    ctx: click.Context, folder: Path, seed: int | None, with_report: bool, quiet: bool
) -> None:
    """Make invented records, load them, report.

    FOLDER gets `records/`, `dwell.toml`, `dwell.duckdb` and `report/`. The network, its
    sites and its children do not exist. An earlier demonstration in FOLDER is replaced;
    anything else there is left alone, and the command stops.
    """
    _clear(folder)
    records, db, settings = (folder / name for name in ("records", "dwell.duckdb", "dwell.toml"))
    own_layouts = _write(records, seed)
    settings.write_text(SETTINGS, encoding="utf-8")
    for delivery in (records, *(records / site for site in own_layouts)):
        _load(ctx, delivery, db, quiet=quiet)
    _run(ctx, "freeze", quarter=PUBLISHED, db=db, settings=settings, quiet=quiet)
    _load(ctx, records / "late", db, quiet=quiet)
    if with_report:
        _run(
            ctx,
            "report",
            quarter=QUARTER,
            db=db,
            settings=settings,
            out=folder / "report",
            quiet=quiet,
        )
        _say(f"Now open {folder / 'report'}", quiet)
    _say(f"Now ask: dwell status --db {db}", quiet)


def _clear(folder: Path) -> None:
    """Remove an earlier demonstration, and nothing else."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file.", try_next="dwell demo with a new folder")
    if folder.exists() and any(folder.iterdir()):
        if not (folder / MARK).is_file():
            raise InputError(
                f"{folder} holds something that is not a demonstration; it is left as it is.",
                try_next="dwell demo with a new folder",
            )
        shutil.rmtree(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / MARK).write_text(MARK_TEXT, encoding="utf-8")
    except OSError as error:
        raise InputError(f"Cannot write to {folder}: {error.strerror}.") from None


def _write(records: Path, seed: int | None) -> list[str]:
    """Write the records; return the sites that send them in a layout of their own."""
    from synthetic_data.folder import DEFAULT_SEED, write_folder
    from synthetic_data.site_exports import SITES

    seed = DEFAULT_SEED if seed is None else seed
    write_folder(records, seed=seed, late=True, with_faults=True, site_exports=True)
    return list(SITES)


def _load(ctx: click.Context, delivery: Path, db: Path, *, quiet: bool) -> None:
    _say(f"Loading {delivery}", quiet)
    _run(ctx, "load", folder=delivery, as_of=AS_OF, db=db, quiet=quiet)


def _run(ctx: click.Context, name: str, **values: object) -> None:
    """Run another command with its own defaults for what is not named."""
    from pipeline.cli.main import dwell

    command = dwell.get_command(ctx, name)
    assert command is not None
    ctx.invoke(command, **values)


def _say(line: str, quiet: bool) -> None:
    if not quiet:
        click.echo(line, err=True)
