"""Processes that this one starts end with it, however it ends."""

import ctypes
import os
import signal
import sys
import threading
import time
from contextlib import suppress

_SET_PARENT_DEATH_SIGNAL = 1  # of prctl, in linux/prctl.h
_EVERY = 1.0  # seconds between two looks at the parent, where the system does not tell


def end_with_parent(parent: int) -> None:
    """End this process when process `parent`, which started it, has ended.

    Parameters
    ----------
    parent : int
        Its number; it may have ended by now.
    """
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGKILL)
    if os.getppid() != parent:
        os._exit(1)
    if sys.platform != "linux":
        threading.Thread(target=_watch, args=(parent,), daemon=True).start()


def _watch(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_EVERY)
    os._exit(1)
