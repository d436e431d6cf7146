"""`dwell history`: every version of an episode."""

from pathlib import Path

import click

from pipeline.cli.options import always_quiet_option, db_option, format_option
from pipeline.cli.printing import print_frame
from pipeline.errors import NoDataError


@click.command(epilog="Example: dwell history e17q4k")
@click.argument("episode_id")
@db_option
@format_option
@always_quiet_option
def history(episode_id: str, db: Path, format_: str) -> None:
    """Show every version of an episode.

    Its contacts and visits too, each with the load and file it came from. This prints
    single records: it is for whoever looks after the data, not for sharing.
    """
    from pipeline.store import open_store
    from pipeline.store.history import versions_of

    with open_store(db) as store:
        frame = versions_of(store, episode_id)
    if frame.is_empty():
        raise NoDataError("The store holds no episode of that key.", try_next="dwell status")
    print_frame(frame, format_)
