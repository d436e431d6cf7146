"""`dwell questions`: worked questions, to ask as they are or with other values."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.commands.complete import question_names
from pipeline.commands.options import db_option, quiet_option, settings_option
from pipeline.commands.results import PRINTED, WRITTEN, give
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.measures.questions import Question


@click.command(epilog="Example: dwell questions dislodgement_by_hour --set hours=24")
@click.argument("name", required=False, shell_complete=question_names)
@click.option("--set", "settings_given", multiple=True, metavar="KEY=VALUE", help="May repeat.")
@click.option("--show-sql", is_flag=True, help="Print the SQL, to begin one's own from.")
@click.option(
    "--format",
    "format_",
    type=click.Choice(sorted({*PRINTED, *WRITTEN})),
    help="table where nothing is said; parquet and xlsx need --out.",
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write to this file.")
@db_option
@settings_option
@quiet_option
def questions(
    *,
    name: str | None,
    settings_given: tuple[str, ...],
    show_sql: bool,
    format_: str | None,
    out: Path | None,
    db: Path,
    settings: Path | None,
    quiet: bool,
) -> None:
    """List worked questions, or ask one.

    Without a NAME the questions are listed with what can be set.
    """
    from pipeline.measures.questions import find_question

    if name is None:
        _print_list()
        return
    question = find_question(name)
    if show_sql:
        click.echo(question.sql.rstrip())
        return
    values = question.values(_pairs(settings_given))

    from pipeline.settings import load_settings
    from pipeline.store.adhoc import open_desk

    with open_desk(db, settings=load_settings(settings)) as desk:
        result = desk.run(question.sql, values)
    if not quiet:
        _print_reading(question, values)
    give(result, format_, out, quiet=quiet)


def _print_list() -> None:
    from pipeline.measures.questions import load_questions

    for question in load_questions().values():
        click.echo(f"{question.name}\n  {question.title}")
        for p in question.parameters:
            click.echo(f"    --set {p.name}={p.default}  {p.description}")


def _print_reading(question: "Question", values: dict[str, str | int | float]) -> None:
    """Say on stderr what is asked and how to read it, so that stdout holds rows alone."""
    asked = ", ".join(f"{name}={value}" for name, value in values.items())
    click.echo(f"{question.title}{f' ({asked})' if asked else ''}", err=True)
    click.echo(click.wrap_text(question.read, width=96), err=True)


def _pairs(given: tuple[str, ...]) -> dict[str, str]:
    pairs = dict[str, str]()
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key:
            raise UsageError(f"--set needs KEY=VALUE, not {text}.")
        pairs[key] = value
    return pairs
