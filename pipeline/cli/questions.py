"""`dwell questions`: worked questions, to ask as they are or with other values."""

import csv
import difflib
import sys
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.complete import question_names
from pipeline.cli.options import db_option, quiet_option, settings_option
from pipeline.cli.printing import to_json
from pipeline.cli.results import check_format, give, row_format_option, row_out_option
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.measures.questions import Question, Value
    from pipeline.store.adhoc import QuerySession


@click.command(epilog="Example: dwell questions dislodgement_by_hour --set hours=24")
@click.argument("name", required=False, shell_complete=question_names)
@click.option(
    "--set",
    "settings_given",
    multiple=True,
    metavar="KEY=VALUE",
    help="Ask with this value; may be repeated.",
)
@click.option("--show-sql", is_flag=True, help="Print the SQL, to begin one's own from.")
@row_format_option
@row_out_option
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
        if settings_given or show_sql or out is not None:
            raise UsageError(
                "--set, --show-sql and --out go with a NAME.", try_next="dwell questions"
            )
        _print_list(format_ or "table")
        return
    question = find_question(name)
    if show_sql:
        click.echo(question.sql.rstrip())
        return
    values = question.values(_pairs(settings_given))
    kind = check_format(format_, out)

    from pipeline.settings import load_settings
    from pipeline.store.adhoc import open_queries

    with open_queries(db, settings=load_settings(settings)) as queries:
        _require_site(queries, values)
        if not quiet:
            _print_reading(question, values)
        give(queries, question.sql, values, kind, out, quiet=quiet)


def _require_site(queries: "QuerySession", values: "Mapping[str, Value]") -> None:
    """Refuse the code of a site that is not in the store."""
    from pipeline.measures.questions import SITES

    given = values.get("site", "all")
    sites = [site for (site,) in queries.run(SITES).rows]
    if given not in {"all", *sites}:
        near = difflib.get_close_matches(str(given), sites, n=1) or sites
        raise UsageError(f"There is no site {given}.", try_next=f"all, {', '.join(near)}")


def _print_list(format_: str) -> None:
    from pipeline.measures.questions import load_questions

    found = load_questions().values()
    if format_ == "table":
        for question in found:
            click.echo(f"{question.name}\n  {question.title}")
            for p in question.parameters:
                click.echo(f"    --set {p.name}={p.default}  {p.description}")
    elif format_ == "json":
        rows = [asdict(question) for question in found]
        click.echo(to_json([{k: v for k, v in row.items() if k != "sql"} for row in rows]))
    elif format_ == "csv":
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(["name", "title", "read"])
        writer.writerows([q.name, q.title, q.read] for q in found)
    else:
        raise UsageError(f"The list is not written as {format_}.", try_next="--format json")


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
