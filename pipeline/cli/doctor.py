"""`dwell doctor`: whether everything is in place to load, analyse and report."""

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from pipeline.cli.options import db_option, quiet_option, settings_option
from pipeline.errors import DwellError

if TYPE_CHECKING:
    from pipeline.cli.checkup import Check


@click.command(epilog="Example: dwell doctor --db dwell.duckdb")
@db_option
@settings_option
@click.option(
    "--format",
    "format_",
    type=click.Choice(["table", "json"]),
    default="table",
    show_default=True,
    help="How the answers are printed.",
)
@quiet_option
@click.pass_context
def doctor(ctx: click.Context, db: Path, settings: Path | None, format_: str, quiet: bool) -> None:
    """Check the installation, renderers, settings and store.

    A note is for your information; a fault ends with exit code 1. With --quiet only
    faults are printed. Nothing is changed, and no record's value is shown.
    """
    from pipeline.cli.checkup import check_everything

    is_named = ctx.get_parameter_source("db") is not ParameterSource.DEFAULT
    answers = check_everything(db, settings, store_is_named=is_named)
    found = list(_told(answers, quiet) if format_ == "table" else answers)
    if format_ == "json":
        told = [check for check in found if not quiet or check.verdict == "fault"]
        click.echo(json.dumps([asdict(check) for check in told], indent=2))
    faults = sum(check.verdict == "fault" for check in found)
    if faults:
        raise DwellError(f"{faults} of {len(found)} checks found a fault.")


def _told(checks: "Iterator[Check]", quiet: bool) -> "Iterator[Check]":
    """Print each check as it is answered, by area."""
    area = None
    for check in checks:
        yield check
        if quiet and check.verdict != "fault":
            continue
        if check.area != area:
            area = check.area
            click.echo(area)
        click.echo(f"  {check.verdict:<6} {check.name}: {check.says}")
        if check.try_next and check.verdict != "ok":
            click.echo(f"         Try: {check.try_next}")
