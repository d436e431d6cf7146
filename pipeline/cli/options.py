"""Options that several commands share, so that they are spelt the same everywhere."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from pipeline.cli.complete import site_codes
from pipeline.cli.printing import keep_quiet
from pipeline.settings import SETTINGS_FILE

DEFAULT_DB = "dwell.duckdb"

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

db_option: Decorator = click.option(
    "--db",
    type=click.Path(dir_okay=False, readable=False, path_type=Path),
    default=DEFAULT_DB,
    envvar="DWELL_DB",
    show_default=True,
    help="The store, one DuckDB file.",
)


def _settings_here() -> Path | None:
    """Return the settings file of the folder where the user stands, if it has one."""
    here = Path(SETTINGS_FILE)
    return here if here.exists() else None


settings_option: Decorator = click.option(
    "--settings",
    type=click.Path(dir_okay=False, readable=False, path_type=Path),
    default=_settings_here,  # a report is made in another folder
    envvar="DWELL_SETTINGS",
    help="Settings file (TOML); dwell.toml in this folder where there is one.",
)

format_option: Decorator = click.option(
    "--format",
    "format_",
    type=click.Choice(["table", "csv", "json"]),
    default="table",
    show_default=True,
    help="How figures are printed.",
)

quiet_option: Decorator = click.option(
    "--quiet", "-q", is_flag=True, callback=keep_quiet, help="No progress and no summary on stderr."
)

# For a command that says nothing on stderr but errors: a script may give it all the same.
always_quiet_option: Decorator = click.option(
    "--quiet",
    "-q",
    is_flag=True,
    expose_value=False,
    callback=keep_quiet,
    help="No progress and no summary on stderr.",
)

site_option: Decorator = click.option(
    "--site",
    "sites",
    multiple=True,
    metavar="CODE",
    shell_complete=site_codes,
    help="Only this site; may be repeated.",
)

from_option: Decorator = click.option(
    "--from", "first", metavar="YYYY-MM", help="First month of placement."
)

to_option: Decorator = click.option(
    "--to", "last", metavar="YYYY-MM", help="Last month of placement."
)

pdf_option: Decorator = click.option("--pdf", "with_pdf", is_flag=True, help="Make a PDF as well.")

renderer_option: Decorator = click.option(
    "--renderer",
    type=click.Choice(["auto", "quarto", "builtin"]),
    default="auto",
    show_default=True,
    help="What makes the page; auto is Quarto where it is installed.",
)
