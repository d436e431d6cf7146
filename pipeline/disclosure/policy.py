"""Who may see what: the audience, the threshold, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.settings import SMALL_CELL

if TYPE_CHECKING:
    from pipeline.settings import Settings

Bools = NDArray[np.bool_]
Audience = Literal["committee", "shared"]

WITHHELD = "withheld"
CONFIDENTIAL = (
    "Confidential: the committee's own copy. Counts of few children are shown; do not pass it on."
)


@dataclass(frozen=True)
class Policy:
    """What may be shown to whom.

    Attributes
    ----------
    threshold : int
        Counts from 1 to one below it are withheld; 0 withholds nothing.
    """

    threshold: int = SMALL_CELL

    @classmethod
    def for_audience(cls, audience: Audience, settings: Settings) -> Policy:
        """Withhold nothing from the committee, and small cells from everyone else."""
        return cls(0 if audience == "committee" else settings.small_cell)

    @property
    def is_confidential(self) -> bool:
        """Whether small counts are shown, so that the output must be marked."""
        return self.threshold <= 1

    @property
    def note(self) -> str:
        """The sentence that goes with every output."""
        if self.is_confidential:
            return CONFIDENTIAL
        return (
            f"Counts of 1 to {self.threshold - 1} children, and what would give them away, "
            "are withheld."
        )

    def is_few(self, counts: ArrayLike, children: ArrayLike) -> Bools:
        """Say which counts of episodes are of few children: some, and maybe below the threshold.

        Parameters
        ----------
        counts : array_like
            Episodes.
        children : array_like, same shape
            The least number of children that they can be of.
        """
        values = np.asarray(counts, float)
        return (values > 0) & (np.asarray(children, float) < self.threshold)

    def is_small(self, counts: ArrayLike) -> Bools:
        """Say which counts are from 1 to one below the threshold."""
        values = np.asarray(counts, float)
        return (values > 0) & (values < self.threshold)
