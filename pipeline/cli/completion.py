"""`dwell completion`: what a shell reads to complete the commands of `dwell`."""

import click

from pipeline.cli.options import always_quiet_option

EPILOG = (
    'Example: eval "$(dwell completion bash)"; the same line in ~/.bashrc (or, with zsh, '
    "~/.zshrc) makes it last. For fish: dwell completion fish | source"
)


@click.command(epilog=EPILOG)
@click.argument("shell", metavar="SHELL", type=click.Choice(["bash", "zsh", "fish"]))
@always_quiet_option
def completion(shell: str) -> None:
    """Print the shell's completion script.

    Completes commands, options and their choices, and from the catalogue and the store
    measures, sites, quarters, changes and loads.
    """
    from click.shell_completion import get_completion_class

    from pipeline.cli.main import COMPLETE_VARIABLE, dwell

    made = get_completion_class(shell)
    assert made is not None
    click.echo(made(dwell, {}, "dwell", COMPLETE_VARIABLE).source())
