"""The published data of the survival checks, read from tests/reference/data."""

import csv
from pathlib import Path

import numpy as np

from pipeline.analysis.survival.event_counts import EventCounts
from pipeline.analysis.survival.model_data import (
    ALONE,
    CENSORED,
    OF_REASON,
    OTHER_REASON,
    ModelData,
)
from pipeline.analysis.survival.terms import Coefficient, Design
from tests.episodes import from_episodes

DATA = Path(__file__).parent / "data"


def columns(name: str) -> dict[str, np.ndarray]:
    """Read a table as text columns."""
    with (DATA / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([row[key] for row in rows]) for key in rows[0]}


def counted(
    time: np.ndarray, reason: np.ndarray, reasons: list[str], by: np.ndarray, groups: list[str]
) -> list[EventCounts]:
    """Count one group after another."""
    return [from_episodes(time[by == g], reason[by == g], reasons, group=g) for g in groups]


def six_mp() -> tuple[EventCounts, EventCounts]:
    """6-MP and control arms of the leukaemia trial.

    Freireich et al. 1963, Blood 21:699-716; Gehan 1965, Biometrika 52:203-223. Data
    as distributed with the R package MASS (`gehan`, GPL-2|3).
    """
    table = columns("gehan_6mp")
    reason = table["cens"].astype(int) - 1
    treated, control = counted(
        table["time"].astype(float), reason, ["relapse"], table["treat"], ["6-MP", "control"]
    )
    return treated, control


MELANOMA = ["melanoma", "other"]


def melanoma() -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Days, reason index and covariates of 205 melanoma patients.

    Andersen, Borgan, Gill and Keiding 1993, Statistical Models Based on Counting
    Processes. Data as distributed with the R package boot (`melanoma`).
    """
    table = columns("melanoma_boot")
    reason = np.select([table["status"] == "1", table["status"] == "3"], [0, 1], -1)
    return table["time"].astype(float), reason, table


HIV = ["AIDS", "SI"]


def aidssi() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Years, reason index and CCR5 type of 329 men (empty where not typed).

    Putter, Fiocco and Geskus 2007, Stat Med 26:2389-2430. Data as distributed with
    the R package mstate (`aidssi`, GPL>=2, repository version 0.3.3).
    """
    table = columns("aidssi_mstate")
    return table["time"].astype(float), table["status"].astype(int) - 1, table["ccr5"]


def model_data(
    matrix: np.ndarray,
    time: np.ndarray,
    outcome: np.ndarray,
    *,
    terms: list[str] | None = None,
    child: np.ndarray | None = None,
    censoring_group: np.ndarray | None = None,
    stratum: np.ndarray | None = None,
) -> ModelData:
    """One row an episode, as models take it."""
    n, k = matrix.shape
    names = terms or [f"x{i}" for i in range(k)]
    columns = tuple(Coefficient(name, None, None) for name in names)
    return ModelData(
        Design(matrix.astype(float), columns),
        np.arange(n),
        time,
        outcome,
        np.ones(n, np.int64),
        np.full(n, ALONE) if child is None else child,
        np.zeros(n, np.int64) if censoring_group is None else censoring_group,
        stratum,
    )


def bladder() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Recurrences of bladder tumours in 85 patients, each followed from its entry.

    Months followed, treatment with number and size (a row a patient), patient of each
    recurrence and its month. Byar 1980, in Pavone-Macaluso and others, Bladder Tumors
    (recalled, not retrieved). Data as distributed with the R package survival
    (`bladder2`, LGPL>=2): at most four recurrences.
    """
    table = {key: value.astype(float) for key, value in columns("bladder2_survival").items()}
    _, of = np.unique(table["id"], return_inverse=True)
    months = np.zeros(of.max() + 1)
    np.maximum.at(months, of, table["stop"])
    covariates = np.column_stack([table[name] for name in ("rx", "number", "size")])
    _, first = np.unique(of, return_index=True)
    again = table["event"] == 1
    return months, covariates[first], of[again], table["stop"][again], covariates[again]


def made_up_ties(**more: np.ndarray) -> ModelData:
    """400 invented episodes with many ties, as made_up_ties.R models them."""
    table = {key: value.astype(float) for key, value in columns("made_up_ties").items()}
    dummies = [table["g"] == level for level in (2, 3, 4)]
    matrix = np.column_stack([table["x"], table["z"], *dummies])
    status = table["st"].astype(int)
    outcome = np.select([status == 0, status == 1], [CENSORED, OF_REASON], OTHER_REASON)
    return model_data(matrix, table["t"], outcome, terms=["x", "z", "g", "g", "g"], **more)
