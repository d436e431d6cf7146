"""How large studies by chance and by trial are: a third of the whole, or the whole.

The whole takes minutes more and is asked for by `DWELL_TEST_WHOLE=1`. What may fail by chance
is reckoned from the number of trials, so the seeds of a part test the same claims, less sharply.
"""

import os

WHOLE = bool(os.environ.get("DWELL_TEST_WHOLE"))


def part(whole: int) -> int:
    """Return how many of `whole` trials are made."""
    return whole if WHOLE else -(-whole // 3)
