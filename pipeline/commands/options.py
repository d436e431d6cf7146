"""Options that several commands share, so that they are spelt the same everywhere."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

DEFAULT_DB = "dwell.duckdb"

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

db_option: Decorator = click.option(
    "--db",
    type=click.Path(dir_okay=False, path_type=Path),
    default=DEFAULT_DB,
    envvar="DWELL_DB",
    show_default=True,
    help="The store, one DuckDB file.",
)

settings_option: Decorator = click.option(
    "--settings",
    type=click.Path(dir_okay=False, path_type=Path),
    default=None,
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
    "--quiet", "-q", is_flag=True, help="No progress and no summary on stderr."
)

audience_option: Decorator = click.option(
    "--audience",
    type=click.Choice(["committee", "shared"]),
    default="shared",
    show_default=True,
    help="shared withholds counts of few children, and what would give them away; "
    "committee shows them and marks the output confidential.",
)
