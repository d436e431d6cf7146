"""The command `dwell`: finds the asked-for command and turns errors into one line.

Commands live in `pipeline/cli/`, one module each, and are imported only when
they are called, so that `dwell --help` stays quick.
"""

import difflib
import importlib
import os
import signal
import sys
from pathlib import Path
from typing import NamedTuple, NoReturn

import click

from pipeline import __version__
from pipeline.cli.streams import (
    FULL,
    forget_output,
    keep_streams,
    note_stops,
    printable,
    require_working_folder,
)
from pipeline.errors import DwellError, InputError, RenderError, StoreError, UsageError

COMPLETE_VARIABLE = "_DWELL_COMPLETE"  # set by the shell that asks for a completion


class CommandEntry(NamedTuple):
    """Where a command is, the line that `dwell --help` shows for it, and what it gives."""

    target: str
    help: str
    shows_counts: bool = False  # true counts, which are not to be passed on


# In the order in which a new user meets them.
COMMANDS: dict[str, CommandEntry] = {
    "demo": CommandEntry("pipeline.cli.demo:demo", "Make invented records, load them, report."),
    "load": CommandEntry("pipeline.cli.load:load", "Load a folder of records into the store."),
    "gather": CommandEntry(
        "pipeline.cli.gather:gather", "Count where the records are, and bring the counts back."
    ),
    "status": CommandEntry("pipeline.cli.status:status", "Say what the store holds."),
    "map": CommandEntry("pipeline.cli.map_file:map_file", "Draft a site's mapping from an export."),
    "pseudonymise": CommandEntry(
        "pipeline.cli.pseudonymise:pseudonymise", "De-identify a site's raw export."
    ),
    "rejects": CommandEntry("pipeline.cli.rejects:rejects", "List or export rows set aside."),
    "history": CommandEntry("pipeline.cli.history:history", "Show every version of an episode."),
    "undo": CommandEntry("pipeline.cli.undo:undo", "Take a load back."),
    "freeze": CommandEntry(
        "pipeline.cli.freeze:freeze",
        "Keep the figures of a quarter as published, and its list of signals.",
    ),
    "drift": CommandEntry(
        "pipeline.cli.drift:drift",
        "List published figures that later data changed.",
        shows_counts=True,
    ),
    "dictionary": CommandEntry(
        "pipeline.cli.dictionary:dictionary", "Describe the records, views and columns."
    ),
    "measures": CommandEntry(
        "pipeline.cli.measures:measures",
        "Print a measure by month, quarter or group.",
        shows_counts=True,
    ),
    "chart": CommandEntry(
        "pipeline.cli.chart:chart", "Control chart of a measure.", shows_counts=True
    ),
    "events": CommandEntry(
        "pipeline.cli.events:events",
        "List the serious events and whether each was reviewed.",
        shows_counts=True,
    ),
    "signals": CommandEntry(
        "pipeline.cli.signals:signals", "List the signals of all control charts.", shows_counts=True
    ),
    "plan": CommandEntry(
        "pipeline.cli.plan:plan", "Say how soon a change would be seen.", shows_counts=True
    ),
    "removal": CommandEntry(
        "pipeline.cli.removal:removal",
        "How long catheters stay, and why they come out.",
        shows_counts=True,
    ),
    "calls": CommandEntry(
        "pipeline.cli.calls:calls",
        "How often families call, by hour since placement.",
        shows_counts=True,
    ),
    "compare": CommandEntry(
        "pipeline.cli.compare:compare",
        "Compare sites, surgeon types or other groups.",
        shows_counts=True,
    ),
    "change": CommandEntry(
        "pipeline.cli.change:change", "Say what happened after a logged change.", shows_counts=True
    ),
    "sql": CommandEntry(
        "pipeline.cli.sql:sql",
        "Ask the store anything in SQL; nothing can be changed.",
        shows_counts=True,
    ),
    "questions": CommandEntry(
        "pipeline.cli.questions:questions", "List worked questions, or ask one.", shows_counts=True
    ),
    "extract": CommandEntry(
        "pipeline.cli.extract:extract", "Write a de-identified data set for a study."
    ),
    "report": CommandEntry(
        "pipeline.cli.report:report", "Render the report of a quarter.", shows_counts=True
    ),
    "release": CommandEntry(
        "pipeline.cli.release:release", "Make the copy of a closed quarter that may be passed on."
    ),
    "doctor": CommandEntry(
        "pipeline.cli.doctor:doctor", "Check the installation, renderers, settings and store."
    ),
    "completion": CommandEntry(
        "pipeline.cli.completion:completion", "Print the shell's completion script."
    ),
}


class LazyGroup(click.Group):
    """A group that imports a command's module when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the command names in the order of `COMMANDS`."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return the command, or None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name].target.split(":")
        command: click.Command = getattr(importlib.import_module(module), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; a `UsageError` of ours names the nearest to one that is not."""
        if args[0] in COMMANDS or args[0].startswith("-"):
            return super().resolve_command(ctx, args)
        near = difflib.get_close_matches(args[0], COMMANDS, n=1)
        raise UsageError(
            f"There is no command {args[0]}.",
            try_next=f"dwell {near[0]}" if near else "dwell --help, for the list",
        )

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.help) for name, entry in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog="Example: dwell load records/ && dwell report 2025-Q4",
)
@click.version_option(__version__, prog_name="dwell")
@click.pass_context
def dwell(ctx: click.Context) -> None:
    """Quality improvement for children sent home with a nerve catheter.

    Without a command it says what the store holds and what comes next. Figures are
    aggregated and observational: they are not for the care of any one child. Local
    policy and licensed clinicians decide.
    """
    if ctx.invoked_subcommand is None:
        from pipeline.cli.next_step import say_next
        from pipeline.cli.options import DEFAULT_DB

        say_next(Path(os.environ.get("DWELL_DB") or DEFAULT_DB))


@dwell.result_callback()
@click.pass_context
def say_for_whom(ctx: click.Context, *_: object) -> None:
    """Say with true counts that they are for the service's own use."""
    from pipeline.cli.printing import say_confidential

    if ctx.invoked_subcommand and COMMANDS[ctx.invoked_subcommand].shows_counts:
        say_confidential()


def main() -> None:
    """Run `dwell`; every error is a message on stderr and an exit code."""
    # The matrices here are small: threads that share them cost more than they bring.
    # It must stand before numpy is imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.umask(0o077)  # what is written is for the owner's eyes
    keep_streams()
    stops = note_stops()
    try:
        require_working_folder()
        code = dwell.main(prog_name="dwell", complete_var=COMPLETE_VARIABLE, standalone_mode=False)
        sys.stdout.flush()
        sys.exit(code)
    except click.exceptions.Exit as end:  # its reader went away while the last was passed on
        sys.exit(end.exit_code)
    except (click.Abort, KeyboardInterrupt):  # Ctrl-C, or another that asks to stop
        _stopped(stops)
    except Exception as error:
        if stops:  # a library made an error of the stop, or we of that
            _stopped(stops)
        _end(_as_ours(error))


def _as_ours(error: Exception) -> DwellError:
    """Return what to tell of an error, whoever raised it."""
    if isinstance(error, DwellError):
        return error
    if isinstance(error, click.UsageError):
        of = error.ctx.command_path if error.ctx else "dwell"
        message = " ".join(error.format_message().split())
        return UsageError(message, try_next=f"{of} --help")
    return _about_the_system(error) or _fault(error)


def _about_the_system(error: Exception) -> DwellError | None:
    """Say what the system refused; None where it is something else."""
    if isinstance(error, MemoryError):
        return StoreError("There is not enough memory for this: nothing was changed.")
    if not isinstance(error, OSError) or not error.strerror:
        return None
    if error.filename is None and error.errno in FULL:
        forget_output()
        return RenderError(f"The output cannot be written: {error.strerror}.")
    if error.filename is not None:
        return InputError(f"Cannot read or write {error.filename}: {error.strerror}.")
    return None


def _fault(error: Exception) -> DwellError:
    """Say that it is a fault of ours: its text can quote a record, so only its kind is shown."""
    if os.environ.get("DWELL_DEBUG"):
        raise error
    return DwellError(
        f"Unexpected {type(error).__name__}: this is a fault in dwell.",
        try_next="the same command with DWELL_DEBUG=1, away from real records",
    )


def _stopped(stops: list[int]) -> NoReturn:
    click.echo("Stopped.", err=True)
    sys.exit(128 + (stops[0] if stops else signal.SIGINT))  # as shells have it


def _end(error: DwellError) -> NoReturn:
    click.echo(printable(str(error)), err=True)
    sys.exit(error.exit_code)
