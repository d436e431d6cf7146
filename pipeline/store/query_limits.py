"""What a typed query may use, and what is said when it needs more."""

import re
from dataclasses import dataclass

from pipeline.errors import StoreError, UsageError

_LEAST_MEMORY = 16_000_000  # bytes: to begin at all
_MOST_MEMORY = 1 << 50
_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)\s*([KMGT])(i?)B", re.IGNORECASE)


@dataclass(frozen=True)
class QueryLimits:
    """What a query may use.

    Attributes
    ----------
    seconds : float
        It is stopped after this time.
    memory : str
        Such as 500MB or 4GiB; nothing is spilled to disk.
    rows : int
        No more than this many rows are given.

    Raises
    ------
    UsageError
        `memory` is no amount of memory, or a limit is none.
    """

    seconds: float = 60.0
    memory: str = "2GB"
    rows: int = 1_000_000

    def __post_init__(self) -> None:
        if not _AMOUNT.fullmatch(self.memory):
            raise UsageError(
                f"{self.memory} is no amount of memory.", try_next="--memory-limit 2GB"
            )
        if not _LEAST_MEMORY <= self.memory_bytes <= _MOST_MEMORY:
            raise UsageError(
                "The limit of memory lies between 16 MB and 1,000 TB.",
                try_next="--memory-limit 2GB",
            )
        if not 0 < self.seconds <= 1_000_000 or self.rows < 1:
            raise UsageError(
                "The limits of time and rows are numbers above 0, and of time at most 1,000,000 s.",
                try_next="--time-limit 60",
            )

    @property
    def memory_bytes(self) -> int:
        """The limit of memory in bytes."""
        found = _AMOUNT.fullmatch(self.memory)
        assert found is not None
        number, prefix, binary = found.groups()
        power = "KMGT".index(prefix.upper()) + 1
        return int(float(number) * (1024 if binary else 1000) ** power)


def over_memory(limits: QueryLimits) -> StoreError:
    """Return the error of a query that needs too much memory."""
    return StoreError(
        f"The query needs more than {limits.memory} of memory.",
        try_next="a smaller question, or a larger --memory-limit",
    )


def over_time(limits: QueryLimits) -> StoreError:
    """Return the error of a query that takes too long."""
    return StoreError(
        f"The query was stopped after {limits.seconds:g} s.",
        try_next="a smaller question, or a larger --time-limit",
    )
