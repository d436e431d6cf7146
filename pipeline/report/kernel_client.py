"""A client of the kernel that Ctrl-C ends as it ends any other command."""

import asyncio
import os
import signal
import subprocess
from contextlib import suppress
from typing import Any

from nbclient import NotebookClient


class Client(NotebookClient):
    """Runs a notebook's cells; Ctrl-C ends the run and the kernel.

    The library's own answer to the signal takes the kernel away under the running cell,
    which then fails in some way that does not tell what happened.
    """

    was_interrupted = False

    def run(self) -> None:
        """Run the cells; raises as `execute` does, and `KeyboardInterrupt` at Ctrl-C."""
        try:
            self.execute()
        except BaseException:
            if self.was_interrupted:
                raise KeyboardInterrupt from None
            raise

    async def async_start_new_kernel(self, **options: Any) -> None:
        """Start the kernel, and answer the signal from now on."""
        run = asyncio.current_task()
        assert run is not None

        def stop() -> None:
            self.was_interrupted = True
            run.cancel()

        with suppress(NotImplementedError, RuntimeError, ValueError):  # not in every thread
            asyncio.get_running_loop().add_signal_handler(signal.SIGINT, stop)
        if not os.environ.get("DWELL_DEBUG"):  # what a dying kernel has to say helps nobody else
            options["stderr"] = subprocess.DEVNULL
        await super().async_start_new_kernel(**options)
