"""Peers of the removal benchmark that are Python packages; needs numpy and the peer alone.

Run as `python removal_peers.py NAME FOLDER`; FOLDER holds the columns as raw doubles.
Prints one line of JSON with the seconds of the estimate itself, without reading.
"""

import json
import sys
import time
import warnings
from pathlib import Path

import numpy as np

warnings.simplefilter("ignore")


def columns(folder: Path) -> dict[str, np.ndarray]:
    names = (folder / "names.txt").read_text().split()
    table = np.fromfile(folder / "columns.bin").reshape(len(names), -1)
    return dict(zip(names, table, strict=True))


def lifelines_incidence(data: dict[str, np.ndarray]) -> None:
    from lifelines import AalenJohansenFitter

    for reason in range(1, 7):
        AalenJohansenFitter().fit(data["hours"], data["why"] + 1, event_of_interest=reason)


def sksurv_incidence(data: dict[str, np.ndarray]) -> None:
    from sksurv.nonparametric import cumulative_incidence_competing_risks

    event = (data["why"] + 1).astype(int)
    cumulative_incidence_competing_risks(event, data["hours"], conf_type="log-log")


def lifelines_cox(data: dict[str, np.ndarray]) -> list[float]:
    import pandas as pd
    from lifelines import CoxPHFitter

    frame = pd.DataFrame(data).drop(columns="site")
    frame["event"] = frame.pop("why") == 1
    fit = CoxPHFitter().fit(
        frame, "hours", "event", cluster_col="child", robust=True, batch_mode=True
    )
    return [float(x) for x in fit.params_]


PEERS = {
    "lifelines_incidence": lifelines_incidence,
    "sksurv_incidence": sksurv_incidence,
    "lifelines_cox": lifelines_cox,
}
PACKAGE = {name: name.split("_")[0] for name in PEERS}


def main() -> None:
    name, folder = sys.argv[1], Path(sys.argv[2])
    __import__(PACKAGE[name])
    data = columns(folder)
    start = time.perf_counter()
    found = PEERS[name](data)
    print(json.dumps({"seconds": time.perf_counter() - start, "coefficients": found}))


if __name__ == "__main__":
    main()
