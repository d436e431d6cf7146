"""The prompt of `dwell sql`: several lines, history, completion of tables and columns."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.printing import say_confidential
from pipeline.cli.results import give
from pipeline.errors import DwellError

if TYPE_CHECKING:
    from prompt_toolkit import PromptSession
    from prompt_toolkit.completion import Completer

    from pipeline.store.adhoc import QuerySession


WORDS = """
    select from where group by order having limit with as join left inner on using and or
    not null is in between like case when then else end distinct count sum avg median min max
    over partition union all true false cast coalesce
"""
HELP = """\
A query ends with a semicolon and may take several lines. Tab completes.
  tables            the tables and views
  columns NAME      the columns of one of them
  help, exit        this text; leave (Ctrl-D leaves as well)
  Ctrl-C            drops what is typed, or stops the query that runs"""


def converse(queries: "QuerySession", format_: str, *, quiet: bool) -> None:
    """Read queries until the end of input; an error is printed, and the next one asked for."""
    session = _session(queries)
    if not quiet:
        click.echo(f"{queries.path}, read-only. `help` says more.")
    say_confidential()
    while True:
        try:
            text = session.prompt("dwell> ").strip()
        except KeyboardInterrupt:
            continue
        except EOFError:
            return
        if text in {"exit", "quit", "exit;", "quit;"}:
            return
        if text:
            _answer(queries, text, format_, quiet=quiet)


def _answer(queries: "QuerySession", text: str, format_: str, *, quiet: bool) -> None:
    word, _, rest = text.rstrip(";").partition(" ")
    if text.rstrip(";") == "help":
        click.echo(HELP)
    elif text.rstrip(";") == "tables":
        click.echo("\n".join(queries.columns()))
    elif word == "columns":
        found = queries.columns().get(rest.strip())
        click.echo("\n".join(found) if found else f"There is no table or view {rest.strip()}.")
    else:
        try:
            give(queries, text, {}, format_, None, quiet=quiet)
        except DwellError as error:
            click.echo(str(error), err=True)
        except KeyboardInterrupt:
            click.echo("The query was stopped.", err=True)


def _session(queries: "QuerySession") -> "PromptSession[str]":
    from prompt_toolkit import PromptSession
    from prompt_toolkit.history import FileHistory, InMemoryHistory
    from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent

    keys = KeyBindings()

    @keys.add("enter")
    def _(event: KeyPressEvent) -> None:
        """Run what is finished; otherwise begin a new line."""
        buffer = event.current_buffer
        if is_finished(buffer.text):
            buffer.validate_and_handle()
        else:
            buffer.insert_text("\n")

    path = history_path()
    return PromptSession(
        multiline=True,
        key_bindings=keys,
        completer=completer(queries),
        complete_while_typing=False,
        history=FileHistory(str(path)) if path else InMemoryHistory(),
        prompt_continuation=lambda width, number, wrapped: "  ... ".rjust(width),
    )


def is_finished(text: str) -> bool:
    """Whether what was typed is a command, is empty, or ends with a semicolon."""
    bare = text.strip()
    word = bare.split(" ")[0] if bare else ""
    return not bare or bare.endswith(";") or word in {"exit", "quit", "help", "tables", "columns"}


def completer(queries: "QuerySession") -> "Completer":
    """Return a completer of SQL words, tables, views and columns."""
    from prompt_toolkit.completion import WordCompleter

    columns = queries.columns()
    names = dict.fromkeys([*columns, *(c for cs in columns.values() for c in cs), *WORDS.split()])
    return WordCompleter(list(names), ignore_case=True)


def history_path() -> Path | None:
    """Return the file of earlier queries, its owner's alone; None where it cannot be had."""
    base = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
    path = base / "dwell" / "sql_history"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.touch(mode=0o600)
        path.chmod(0o600)
    except OSError:
        return None
    return path
